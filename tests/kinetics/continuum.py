"""Dense gas by finite elements: Stokes flow with slip, and conduction with a temperature jump, about plates in a box.

What the kinetic solver tends to as the free path shrinks, from another equation, another library and other cells.
Lengths in the width of a plate, velocities in v0, stress in p0; e = 2 Kn / sqrt(pi) is the viscosity then, and 15/8 e
the conductivity of a monatomic gas. Slip and jump of the first order, with the coefficients of the Shakhov model at
diffuse walls (Siewert and Sharipov, Phys. Fluids 14, 4123, 2002): 1.018 e and 1.954 e.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from scipy.sparse import bmat
from scipy.sparse.linalg import LinearOperator, minres, splu
from skfem import (
    Basis,
    BilinearForm,
    ElementHex1,
    ElementHex2,
    ElementQuad1,
    ElementQuad2,
    ElementVector,
    LinearForm,
    MeshHex,
    MeshQuad,
    asm,
    condense,
    solve,
)
from skfem.helpers import div, dot, grad

SLIP, JUMP = 1.018, 1.954
END = 1e-9


def viscosity(knudsen):
    """Return mu v0 / (p0 L) at a Knudsen number."""
    return 2.0 * knudsen / np.sqrt(np.pi)


def graded(a, b, first, last, ratio, most=0.25):
    """Nodes from a to b whose steps grow by a ratio from both ends."""
    steps_a, steps_b = [], []
    while sum(steps_a) + sum(steps_b) < b - a:
        if first <= last:
            steps_a.append(first)
            first = min(first * ratio, most)
        else:
            steps_b.append(last)
            last = min(last * ratio, most)
    steps = np.array(steps_a + steps_b[::-1])
    return a + (b - a) * np.concatenate([[0.0], np.cumsum(steps)]) / steps.sum()


def across(edges, wall, smallest, ratio, most=0.25):
    """Nodes from a plane of symmetry through the edges of a plate to a wall, fine at the edges."""
    places = [0.0, *edges, wall]
    parts = []
    for k, (a, b) in enumerate(pairwise(places)):
        at_a, at_b = (smallest if place in edges else 0.1 for place in (a, b))
        parts.append(graded(a, b, at_a, at_b, ratio, most)[(k > 0) :])
    return np.concatenate(parts)


def box(*nodes):
    """Cells of a box, in plane or space, with its element of second and of first order."""
    if len(nodes) == 2:
        return MeshQuad.init_tensor(*nodes), ElementQuad2(), ElementQuad1()
    return MeshHex.init_tensor(*nodes), ElementHex2(), ElementHex1()


def _viscous(velocity, second):
    """Matrix of 2 D(u) : D(v), from those of products of two derivatives: forms of one component are much cheaper."""
    one, dim = velocity.with_element(second), velocity.mesh.dim()
    every = velocity.get_dofs(elements=np.arange(velocity.nelems))
    places = [np.sort(every.all([f"u^{axis + 1}"])) for axis in range(dim)]
    products = {
        (a, b): asm(BilinearForm(lambda u, v, w, a=a, b=b: grad(u)[a] * grad(v)[b]), one)
        for a in range(dim)
        for b in range(a, dim)
    }
    products |= {(b, a): matrix.T for (a, b), matrix in products.items()}
    laplacian = sum(products[a, a] for a in range(dim))
    # What tests component c against the flow of component a.
    blocks = [[products[c, a] + (laplacian if a == c else 0 * laplacian) for a in range(dim)] for c in range(dim)]
    back = np.argsort(np.concatenate(places))
    return bmat(blocks, "csr")[back][:, back]


def stokes_power(mesh, second, first, numbers, fixed, walls):
    """Return the power that moving plates spend in the box at each viscosity, over p0 v0 L^2 (per length in the plane).

    Parameters
    ----------
    mesh, second, first
        Cells and elements, as `box` gives them.
    numbers : sequence of float
        Viscosities.
    fixed : list of (name of a boundary, axis, value)
        Components of the velocity that are given; the value is a number or a function of the places. Where only
        tangential ones are, nothing else presses on the plane: a plane in which the pressure is odd.
    walls : list of (name, axis of the normal)
        Where the gas slips along the wall.
    """
    velocity = Basis(mesh, ElementVector(second), intorder=4)
    pressure = velocity.with_element(first)
    shearing, slipping = _viscous(velocity, second), 0.0
    for name, normal in walls:
        along = [axis for axis in range(mesh.dim()) if axis != normal]
        slip = BilinearForm(lambda u, v, w, along=along: sum(u[a] * v[a] for a in along) / SLIP)
        slipping = slipping + asm(slip, velocity.boundary(name))
    continuity = asm(BilinearForm(lambda u, q, w: -div(u) * q), velocity, pressure)
    x = np.zeros(velocity.N + pressure.N)
    places = []
    for name, axis, value in fixed:
        found = velocity.get_dofs(name).all([f"u^{axis + 1}"])
        x[found] = value(velocity.doflocs[:, found]) if callable(value) else value
        places.append(found)
    given, powers, precondition = np.unique(np.concatenate(places)), [], None
    for e in numbers:
        viscous = shearing + slipping / e
        matrix = bmat([[viscous, continuity.T], [continuity, None]], "csc")
        if mesh.dim() == 2:
            found = solve(*condense(matrix, x=x, D=given))
        else:
            # The factors for the first viscosity do for its neighbours, and so does its flow to begin from.
            if precondition is None:
                mass, found = asm(BilinearForm(lambda p, q, w: p * q), pressure), x
                precondition = _by_blocks(matrix, given, velocity, mass.diagonal())
            found = _in_space(matrix, x, given, precondition, found)
        u = found[: velocity.N]
        powers.append(e * float(u @ (viscous @ u)))
    return powers


def _in_space(matrix, x, given, precondition, start):
    """Solve for velocity and pressure in space by minimal residuals, where factors of the whole would not fit."""
    inner = np.setdiff1d(np.arange(matrix.shape[0]), given)
    load = -(matrix @ x)[inner]
    condensed = matrix.tocsr()[inner][:, inner]
    about = LinearOperator(condensed.shape, matvec=precondition)
    found, left = minres(condensed, load, x0=start[inner], M=about, rtol=1e-6, maxiter=600)
    assert left == 0, "the finite elements did not converge"
    solved = x.copy()
    solved[inner] = found
    return solved


def _by_blocks(matrix, given, velocity, mass):
    """Return a preconditioner: factors of each component of the velocity, and the pressure's mass.

    Silvester and Wathen, SIAM J. Numer. Anal. 31, 1352, 1994.
    """
    inner = np.setdiff1d(np.arange(matrix.shape[0]), given)
    places = np.full(matrix.shape[0], -1)
    places[inner] = np.arange(inner.size)
    condensed = matrix.tocsr()[inner][:, inner].tocsc()
    every = velocity.get_dofs(elements=np.arange(velocity.nelems))
    layers = np.array([np.unique(np.round(row, 9), return_inverse=True)[1] for row in velocity.doflocs])
    blocks = []
    for axis in range(3):
        own = places[every.all([f"u^{axis + 1}"])]
        own = own[own >= 0]
        own = own[_halved(layers[:, inner[own]])]
        part = condensed[own][:, own].tocsc()
        factors = splu(part, permc_spec="NATURAL", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
        blocks.append((own, factors))
    press = places[velocity.N :]

    def precondition(r):
        z = np.empty_like(r)
        for own, factors in blocks:
            z[own] = factors.solve(r[own])
        z[press] = r[press] / mass
        return z

    return precondition


def _halved(layers, least=60):
    """Order of nodes in which factors stay small: two halves, then the layer between them; (dim, n) layers they are in.

    Nested dissection (George, SIAM J. Numer. Anal. 10, 345, 1973).
    """

    def order(which):
        mine = layers[:, which]
        spans = np.ptp(mine, axis=1)
        axis = int(np.argmax(spans))
        if which.size < least or spans[axis] < 6:
            return which
        # Cells have nodes on two layers and in between: what separates is a layer between cells, an even one.
        middle = 2 * round(float(np.median(mine[axis])) / 2)
        low, on, high = (which[part] for part in (mine[axis] < middle, mine[axis] == middle, mine[axis] > middle))
        return np.concatenate([order(low), order(high), on]) if low.size and high.size else which

    return order(np.arange(layers.shape[1]))


def plate_drag(half, knudsen, *, smallest=1e-3, ratio=2.0):
    """Drag of a plate along its normal over p0 A per U/v0: an endless strip in a square room, or a square in a cube.

    `half` are the half widths of the room: two or three.
    """
    cells = box(
        graded(0.0, half[0], smallest, 0.1, ratio), *(across([0.5], wall, smallest, ratio) for wall in half[1:])
    )
    dim = len(half)

    def on_plate(x):
        return (x[0] < END) & (x[1:] < 0.5).all(axis=0)

    planes = {f"wall{axis}": lambda x, axis=axis: x[axis] > half[axis] - END for axis in range(dim)}
    planes |= {f"middle{axis}": lambda x, axis=axis: x[axis] < END for axis in range(1, dim)}
    planes |= {"plate": on_plate, "beside": lambda x: (x[0] < END) & ~on_plate(x)}
    mesh = cells[0].with_boundaries(planes)
    fixed = [("plate", 0, 1.0)]
    fixed += [("beside", axis, 0.0) for axis in range(1, dim)]
    fixed += [(f"middle{axis}", axis, 0.0) for axis in range(1, dim)]
    fixed += [(f"wall{axis}", axis, 0.0) for axis in range(dim)]
    walls = [("plate", 0), *((f"wall{axis}", axis) for axis in range(dim))]
    return 2.0**dim * stokes_power(mesh, *cells[1:], [viscosity(knudsen)], fixed, walls)[0]


def rotor_drag(arm, width, height, knudsen, *, inside=None, smallest=0.02, ratio=2.0, most=0.25):
    """Drag torque of four square vanes over N p0 A R per Omega R/v0 in a box with a square base, by Knudsen number.

    A quadrant above the middle height. Rotation is odd in the planes of the vanes, so beside a vane nothing moves along
    them. With `inside`, a function of the middles of the cells, only these cells hold gas, and it sticks to the others.
    """
    half, top, root, tip = 0.5 * width, 0.5 * height, arm - 0.5, arm + 0.5
    outward = across([root, tip], half, smallest, ratio, most)
    mesh, second, first = box(outward, outward, across([0.5], top, smallest, ratio, most))
    if inside is not None:
        mesh = mesh.remove_elements(np.flatnonzero(~inside(mesh.p[:, mesh.t].mean(axis=1))))

    def on_vane(x, axis):
        along = x[1 - axis]
        return (x[axis] < END) & (along > root) & (along < tip) & (x[2] < 0.5)

    planes = {f"vane{axis}": lambda x, axis=axis: on_vane(x, axis) for axis in (0, 1)}
    planes |= {f"beside{axis}": lambda x, axis=axis: (x[axis] < END) & ~on_vane(x, axis) for axis in (0, 1)}
    planes["middle"] = lambda x: x[2] < END
    fixed = [("vane1", 1, lambda x: x[0] / arm), ("vane0", 0, lambda x: -x[1] / arm), ("middle", 2, 0.0)]
    fixed += [(f"beside{axis}", along, 0.0) for axis in (0, 1) for along in (1 - axis, 2)]
    walls = [("vane0", 0), ("vane1", 1)]
    if inside is None:
        planes |= {f"wall{axis}": lambda x, axis=axis: x[axis] > (half, half, top)[axis] - END for axis in range(3)}
        fixed += [(f"wall{axis}", axis, 0.0) for axis in range(3)]
        walls += [(f"wall{axis}", axis) for axis in range(3)]
    else:
        planes["outside"] = lambda x: (x > END).all(axis=0)
        fixed += [("outside", axis, 0.0) for axis in range(3)]
    # Eight such parts, four vanes, the velocity of their middle being 1.
    numbers = [viscosity(kn) for kn in knudsen]
    powers = stokes_power(mesh.with_boundaries(planes), second, first, numbers, fixed, walls)
    return [2.0 * power for power in powers]


def plate_heat(half, knudsen, *, both, smallest=1e-3, ratio=2.0):
    """Heat that leaves a face over p0 v0 A: both faces at 1, or the faces at +1/2 and -1/2; room as in `plate_drag`."""
    e = viscosity(knudsen)
    mesh, second, _ = box(
        graded(0.0, half[0], smallest, 0.1, ratio), *(across([0.5], wall, smallest, ratio) for wall in half[1:])
    )

    def on_plate(x):
        return (x[0] < END) & (x[1:] < 0.5).all(axis=0)

    mesh = mesh.with_boundaries({
        "plate": on_plate,
        "beside": lambda x: (x[0] < END) & ~on_plate(x),
        "walls": lambda x: (x > np.array(half).reshape(-1, *[1] * (x.ndim - 1)) - END).any(axis=0),
    })  # fmt: skip
    basis = Basis(mesh, second, intorder=4)
    plate = basis.boundary("plate")
    passes = BilinearForm(lambda u, v, w: u * v / (JUMP * e))
    matrix = asm(BilinearForm(lambda u, v, w: dot(grad(u), grad(v))), basis)
    matrix = matrix + asm(passes, plate) + asm(passes, basis.boundary("walls"))
    warm = 1.0 if both else 0.5
    load = warm * asm(LinearForm(lambda v, w: v / (JUMP * e)), plate)
    x = np.zeros(basis.N)
    t = solve(*condense(matrix, load, x=x, D=basis.get_dofs("beside"))) if not both else solve(matrix, load)
    heat = asm(LinearForm(lambda v, w: (warm - w["t"]) * v / (JUMP * e)), plate, t=plate.interpolate(t)).sum()
    return 1.875 * e * 2.0 ** len(half[1:]) * float(heat)
