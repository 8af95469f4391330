"""The lab book: readings and raw traces in a database, append-only; import, export and check."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from edgewind.book.book import ADDED_TITLES, LIVE_TITLES, Book
    from edgewind.book.check import Damage, Health, check_book
    from edgewind.book.connect import is_book
    from edgewind.book.contents import Contents
    from edgewind.book.errors import BookError, DamagedBookError, FullBookError, LockedBookError, NoBookError
    from edgewind.book.folders import Imported, export_book, export_folder, import_folder
    from edgewind.book.follow import Marks, Part, changes_of, marks, read_part
    from edgewind.book.opening import open_book
    from edgewind.book.rows import Amendment, KeptFile, Reading, TraceFile
    from edgewind.book.source import BookSource, sources
else:
    from edgewind.doors import names_on_demand

    __getattr__ = names_on_demand(__name__, __file__)

__all__ = [
    "ADDED_TITLES",
    "LIVE_TITLES",
    "Amendment",
    "Book",
    "BookError",
    "BookSource",
    "Contents",
    "Damage",
    "DamagedBookError",
    "FullBookError",
    "Health",
    "Imported",
    "KeptFile",
    "LockedBookError",
    "Marks",
    "NoBookError",
    "Part",
    "Reading",
    "TraceFile",
    "changes_of",
    "check_book",
    "export_book",
    "export_folder",
    "import_folder",
    "is_book",
    "marks",
    "open_book",
    "read_part",
    "sources",
]
