"""The gas computed: how it pushes, drags and cools a vane at any rarefaction. Dimensionless in and out."""
