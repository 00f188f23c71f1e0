"""Nothing imports upwards; the core needs no device, file or clock; and the package itself is light."""

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "beepwatch"
ORDER = [
    "events errors",
    "hearing",
    "patterns",
    "recognizer",
    "waking",
    "synthesis sources channels records settings board paper",
    "page hub bedside bedroom care report",
    "views",
    "watch",
    "cli __init__ __main__",
]
"""From the core outwards; a name may import those of its own row and of the rows above it."""
LEVEL = {name: level for level, names in enumerate(ORDER) for name in names.split()}
PURE = {"__future__", "collections", "dataclasses", "enum", "functools", "itertools", "math", "typing"}
PURE |= {"bisect", "re", "statistics", "string", "numpy", "scipy"}
"""What the core may use besides itself: no file, device, thread or clock is behind any of these."""
TABLES = {"tomllib", "importlib", "msgspec"}
"""How the core reads the tables that are part of the package (profiles, messages)."""
HEAVY = (
    "paho",
    "reportlab",
    "icalendar",
    "starlette",
    "uvicorn",
    "cryptography",
    "segno",
    "sounddevice",
    "soundfile",
    "soxr",
    "librosa",
    "matplotlib",
    "rich",
    "scipy",
    "numpy",
    "sqlite3",
    "tomlkit",
)


def imported_names(path: Path) -> Iterator[str]:
    """Every module that the file imports, in full, inside functions too (but not for the type checker alone)."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    parts = ["beepwatch", *path.relative_to(PACKAGE).with_suffix("").parts]
    for node in ast.walk(tree):
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            node.body = []
        elif isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = ".".join(parts[: -node.level]) if node.level else ""
            yield ".".join(part for part in (base, node.module) if part)


def module_names(path: Path) -> Iterator[str]:
    """As `imported_names`, with `from beepwatch import x` spelt out as beepwatch.x."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module == "beepwatch" and not node.level:
            yield from (f"beepwatch.{name.name}" for name in node.names)
    yield from imported_names(path)


FILES = sorted(PACKAGE.rglob("*.py"))


@pytest.mark.parametrize("path", FILES, ids=[str(path.relative_to(PACKAGE)) for path in FILES])
def test_imports_point_towards_the_core(path: Path) -> None:
    """Each import is of a row no higher than one's own; below `sources` it is ours or one of a few pure modules."""
    level = LEVEL[path.relative_to(PACKAGE).parts[0].removesuffix(".py")]
    for name in module_names(path):
        top, _, rest = name.partition(".")
        if top != "beepwatch":
            assert top in PURE | TABLES or level >= LEVEL["sources"], f"{path.name} imports {name}"
        elif rest and rest != "__version__":
            assert LEVEL[rest.split(".")[0]] <= level, f"{path.name} imports {name}, which is above it"


def test_every_part_has_its_place() -> None:
    """A new file or folder must be put into ORDER before it can import anything."""
    parts = {path.relative_to(PACKAGE).parts[0].removesuffix(".py") for path in FILES}
    assert parts <= LEVEL.keys()


def loaded(statement: str) -> set[str]:
    """The modules that a fresh Python holds after `statement`."""
    told = subprocess.run(
        [sys.executable, "-c", f"{statement}; import sys; print(*sys.modules)"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return set(told.stdout.split())


@pytest.mark.parametrize("statement", ["import beepwatch", "import beepwatch.events, beepwatch.errors"])
def test_the_package_itself_is_light(statement: str) -> None:
    """`import beepwatch` loads none of the heavy libraries, so it takes no time worth measuring."""
    assert not loaded(statement) & set(HEAVY)


def test_the_command_line_opens_no_device() -> None:
    """Help and version need no sound system: sounddevice, librosa and matplotlib are loaded by those who use them."""
    modules = loaded("from beepwatch.cli import parser; parser()")
    assert not modules & {"sounddevice", "librosa", "matplotlib", "soundfile", "soxr"}


@pytest.mark.parametrize("part", ["recognizer", "waking.escalation", "hearing", "patterns"])
def test_the_core_loads_neither_devices_nor_files(part: str) -> None:
    """The pure parts hold nothing that could touch the machine."""
    assert not loaded(f"import beepwatch.{part}") & {"sounddevice", "soundfile", "sqlite3", "librosa", "matplotlib"}
