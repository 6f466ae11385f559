"""What firstpull needs to run is permissive, or weak copyleft used unmodified and listed.

Metadata alone does not tell: wheels carry other people's libraries inside. So each licence
text and each compiled file of every locked package is read.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from importlib import metadata
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]

PERMISSIVE = {
    "0BSD", "Apache-2.0", "Apache-2.0 WITH LLVM-exception", "BSD", "BSD-2-Clause", "BSD-3-Clause",
    "CC0-1.0", "FTL", "HPND", "IJG", "ISC", "Libpng", "MIT", "MIT-CMU", "PSF-2.0", "Zlib",
}  # fmt: skip
WEAK = {"MPL-2.0", "LGPL-2.1", "LGPL-2.1-or-later", "LGPL-3.0"}

# Packages under weak copyleft: used unmodified, as separate files. None so far.
WEAK_PACKAGES: dict[str, str] = {}

# Libraries of others inside wheels, by the stem of the file name, with their licence.
BUNDLED = {
    "libXau": "MIT",
    "libavif": "BSD-2-Clause",
    "libbrotlicommon": "MIT",
    "libbrotlidec": "MIT",
    "libembree": "Apache-2.0",
    "libfreetype": "FTL",
    "libgfortran": "GPL-3.0 WITH GCC-exception-3.1",
    "libgcc_s": "GPL-3.0 WITH GCC-exception-3.1",
    "libharfbuzz": "MIT",
    "libjpeg": "IJG",
    "liblcms": "MIT",
    "libllvmlite": "Apache-2.0 WITH LLVM-exception",
    "liblzma": "0BSD",
    "libopenjp": "BSD-2-Clause",
    "libpng": "Libpng",
    "libquadmath": "LGPL-2.1-or-later",
    "libscipy_openblas": "BSD-3-Clause",
    "libsharpyuv": "BSD-3-Clause",
    "libtbb": "Apache-2.0",
    "libtiff": "MIT-CMU",
    "libwebp": "BSD-3-Clause",
    "libwebpdemux": "BSD-3-Clause",
    "libwebpmux": "BSD-3-Clause",
    "libxcb": "MIT",
    "libz": "Zlib",
    "libzstd": "BSD-3-Clause",
}
# The runtime of the compiler, which its exception lets any program carry.
EXCEPTED = {"GPL-3.0 WITH GCC-exception-3.1"}

OF_PYTHON = "Historically, most, but not all, Python releases have also been GPL-compatible"
# Licence files that speak of the GPL, each with words in it that say why that does not bind.
EXPLAINED = {
    "numpy": "GCC RUNTIME LIBRARY EXCEPTION",
    "scipy": "GCC RUNTIME LIBRARY EXCEPTION",
    "pillow": "None of these files end up in the binaries being built",
    "lxml": "test.py, the test-runner script, is GPL",
    "llvmlite": "LLVM Exceptions to the Apache 2.0 License",
    "numba": OF_PYTHON,
    "typing_extensions": OF_PYTHON,
}

SPEAKS_OF_GPL = re.compile(r"(?<!L)\bA?GPL|\bGNU\s+(AFFERO\s+)?GENERAL\s+PUBLIC\s+LICEN", re.I)
LICENCE_FILE = re.compile(r"(licen[cs]e|copying|notice)", re.I)
COMPILED = re.compile(r"\.(so|dylib|dll|pyd)(\.|$)")
# Traces of copyleft libraries linked into a compiled file: their names in symbols and texts.
LINKED_COPYLEFT = [
    b"CGAL", b"GNU Affero", b"GNU General Public License", b"fftw_plan_dft", b"fftwf_plan_dft",
    b"gsl_set_error_handler", b"rl_readline_name",
]  # fmt: skip
TEXTS = {
    r"Permission is hereby granted, free of charge|MIT License": "MIT",
    r"Redistribution and use in source and binary forms|\bBSD\b": "BSD",
    r"Apache (Software )?License|Apache-2": "Apache-2.0",
    r"\bISC\b": "ISC",
    r"Mozilla Public|\bMPL": "MPL-2.0",
    r"Lesser General|\bLGPL": "LGPL-2.1",
    r"(?<!Lesser )(?<!Library )General Public License|(?<!L)\bA?GPL": "GPL",
}


def locked_names() -> list[str]:
    lock = (ROOT / "requirements.lock").read_text()
    return sorted(set(re.findall(r"^([a-z0-9._-]+)==", lock, re.M)))


def installed() -> Iterator[metadata.Distribution]:
    for name in locked_names():
        try:
            yield metadata.distribution(name)
        except metadata.PackageNotFoundError:
            continue  # for another system or another Python


def faults(package: metadata.Distribution) -> list[str]:
    """Everything that stands against shipping with this package."""
    return [
        *_declared_faults(package),
        *_text_faults(package),
        *_library_faults(package),
    ]


def _declared_faults(package: metadata.Distribution) -> list[str]:
    names = declared(package)
    if not names:
        return [f"{package.name} declares no licence that is known here"]
    allowed = PERMISSIVE | (WEAK if package.name in WEAK_PACKAGES else set())
    return [f"{package.name} is under {name}" for name in sorted(names - allowed)]


def declared(package: metadata.Distribution) -> set[str]:
    """The licences that the metadata bind to; of alternatives, the kindest."""
    expression = package.metadata.get("License-Expression")
    if expression:
        assert "(" not in expression, f"{package.name}: {expression}"
        choices = [part.split(" OR ") for part in expression.split(" AND ")]
        return {next((c for c in these if c in PERMISSIVE), these[0]) for these in choices}
    classifiers = [
        c.rpartition(" :: ")[2]
        for c in package.metadata.get_all("Classifier") or []
        if c.startswith("License :: ")
    ]
    for text in ["\n".join(classifiers), package.metadata.get("License") or ""]:
        found = {name for words, name in TEXTS.items() if re.search(words, text, re.I)}
        if found:
            return found
    return set()


def _text_faults(package: metadata.Distribution) -> Iterator[str]:
    for path, name in _files(package, LICENCE_FILE):
        if COMPILED.search(name) or name.endswith((".py", ".pyc")):
            continue
        text = path.read_text(errors="replace")
        reason = EXPLAINED.get(package.name.lower())
        words = " ".join(text.split())
        if SPEAKS_OF_GPL.search(text) and not (reason and reason in words):
            yield f"{package.name}: {name} speaks of the GPL"


def _library_faults(package: metadata.Distribution) -> Iterator[str]:
    for path, name in _files(package, COMPILED):
        content = path.read_bytes()
        for trace in LINKED_COPYLEFT:
            if trace in content:
                yield f"{package.name}: {name} has {trace.decode()} inside"
        if name.rpartition("/")[2].startswith("lib"):
            stem = re.match(r"lib[A-Za-z_]+", name.rpartition("/")[2])
            licence = BUNDLED.get(stem[0].rstrip("_")) if stem else None
            if licence not in PERMISSIVE | WEAK | EXCEPTED:
                yield f"{package.name}: {name} is a library of others, not listed here"


def _files(package: metadata.Distribution, wanted: re.Pattern[str]) -> Iterator[tuple[Path, str]]:
    for file in package.files or []:
        path = Path(str(package.locate_file(file)))
        if wanted.search(file.name) and path.is_file():
            yield path, file.as_posix()


@pytest.mark.parametrize("package", list(installed()), ids=lambda p: p.name)
def test_what_runs_may_be_shipped(package: metadata.Distribution) -> None:
    assert faults(package) == []


def test_enough_is_looked_at() -> None:
    """The lock is read right: every direct requirement of the package is among its names."""
    wanted = {
        re.split(r"[^A-Za-z0-9._-]", r, maxsplit=1)[0] for r in metadata.requires("firstpull")
    }
    assert wanted <= set(locked_names())
    assert wanted <= {re.sub(r"[_.]+", "-", p.name.lower()) for p in installed()}


@pytest.mark.parametrize("name", sorted(EXPLAINED))
def test_each_explanation_is_still_needed(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delitem(EXPLAINED, name)
    assert any("GPL" in fault for fault in _text_faults(metadata.distribution(name)))


def fabricated(home: Path, *, header: str, files: dict[str, bytes]) -> metadata.Distribution:
    """A made-up installed package."""
    info = home / "made_up-1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text(
        f"Metadata-Version: 2.4\nName: made-up\nVersion: 1.0\n{header}\n"
    )
    for name, content in files.items():
        (home / name).parent.mkdir(parents=True, exist_ok=True)
        (home / name).write_bytes(content)
    (info / "RECORD").write_text("".join(f"{name},,\n" for name in files))
    return metadata.Distribution.at(info)


MIT = "License-Expression: MIT"


@pytest.mark.parametrize(
    ("header", "files", "words"),
    [
        ("License-Expression: GPL-3.0-only", {}, "is under GPL-3.0-only"),
        ("License-Expression: MIT AND AGPL-3.0-or-later", {}, "is under AGPL-3.0-or-later"),
        ("License-Expression: MPL-2.0", {}, "is under MPL-2.0"),
        ("Classifier: License :: OSI Approved :: GNU General Public License v3", {}, "under GPL"),
        ("License: GPL", {}, "under GPL"),
        ("Summary: silent", {}, "declares no licence"),
        (MIT, {"made_up/COPYING": b"GNU GENERAL PUBLIC LICENSE\nVersion 3"}, "speaks of the GPL"),
        (MIT, {"made_up.libs/libsecret-12ab.so.1": b"\x7fELF"}, "not listed"),
        (MIT, {"made_up/fast.so": b"\x7fELF\0CGAL::Polyhedron\0"}, "has CGAL inside"),
    ],
)
def test_the_guard_trips(tmp_path, header, files, words) -> None:
    found = faults(fabricated(tmp_path, header=header, files=files))
    assert len(found) == 1 and words in found[0]


@pytest.mark.parametrize(
    ("header", "files"),
    [
        (MIT, {"made_up.libs/libz-1a2b.so.1": b"\x7fELF", "made_up/LICENSE": b"MIT License"}),
        ("License-Expression: GPL-2.0-only OR BSD-3-Clause", {}),
        ("License: MIT License", {"made_up/NOTICE": b"Under the LGPL: nothing."}),
    ],
)
def test_the_guard_lets_others_pass(tmp_path, header, files) -> None:
    assert faults(fabricated(tmp_path, header=header, files=files)) == []


def test_a_real_wheel_with_copyleft_inside_trips_the_guard() -> None:
    """libigl's wheel carries a part that is linked with CGAL; it is for tests only."""
    package = metadata.distribution("libigl")
    assert any("CGAL inside" in fault for fault in _library_faults(package))
    assert "libigl" not in locked_names()
