"""What a PDF says and shows, as programs that are not ours read it: poppler's pdftotext and pdftoppm, and zxing."""

import subprocess
from pathlib import Path

import zxingcpp
from PIL import Image

MARKS = dict.fromkeys(map(ord, "\u202a\u202b\u202c\u200e\u200f"))


def text_of(made: bytes, folder: Path, *options: str) -> str:
    """The text of a PDF without the marks that pdftotext puts around what goes to the left, and with plain spaces."""
    file = folder / "read.pdf"
    file.write_bytes(made)
    done = subprocess.run(["pdftotext", *options, str(file), "-"], capture_output=True, text=True, check=True)
    assert done.stderr == ""
    return done.stdout.translate(MARKS).replace("\u202f", " ")


def bare(text: str) -> str:
    """A text without any space: where lines break is no matter here."""
    return "".join(text.split())


def codes_of(made: bytes, folder: Path, *, page: int = 1) -> list[str]:
    """What the QR codes on a page say, read from its picture."""
    file = folder / "scan.pdf"
    file.write_bytes(made)
    which = ("-f", str(page), "-l", str(page), "-singlefile")
    subprocess.run(["pdftoppm", "-r", "150", "-gray", "-png", *which, str(file), str(folder / "scan")], check=True)
    return [code.text for code in zxingcpp.read_barcodes(Image.open(folder / "scan.png"))]


def pictures_n(made: bytes, folder: Path) -> int:
    """How many pictures a PDF has: a code is one, and nothing else is."""
    file = folder / "pictures.pdf"
    file.write_bytes(made)
    done = subprocess.run(["pdfimages", "-list", str(file)], capture_output=True, text=True, check=True)
    return len(done.stdout.splitlines()) - 2
