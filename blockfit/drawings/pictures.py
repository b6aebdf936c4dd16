"""Outlines in pictures: what stands out against a plain ground. Pillow's one home (the extra ``drawings``).

Resolved to a pixel. A picture's own size on paper is not trusted: its scale comes from a height, a length or a bar."""

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from blockfit.drawings.areas import area_of_cells, enclosed_area, filled_lines, kept_parts
from blockfit.errors import BadValueError, MissingExtraError, UnreadableFileError, shown_name
from blockfit.geometry.arrays import Array, Flags
from blockfit.geometry.tolerances import ROUNDING
from blockfit.intake.guard import regular_file

__all__ = ["PICTURES", "Raster", "area_of_picture", "cells_of", "picture_cells"]

PICTURES = (".png", ".jpg", ".jpeg")
_MOST_BYTES = 256 << 20
_MOST_SIDE = 20_000
_SPECK = 1e-4  # of the largest part: smaller parts are noise
_BETWEEN, _MUCH = 0.15, 0.02  # of the way from ground to figure, and of the figure: what may be lost of it
_PINHOLE = 4.0  # pixels: smaller openings are noise, and are filled
_THIN = 0.3  # of what its lines enclose: a drawing darker than that is a silhouette


@dataclass(frozen=True, slots=True, eq=False)
class Raster:
    """Which pixels (h, w) show the figure, what was said about them, and whether noise may be among them."""

    dark: Flags
    notes: tuple[str, ...] = ()
    is_photographed: bool = False


def cells_of(values: Any, name: str) -> Raster:
    """Return an array of booleans (h, w) as cells. Raises `BadValueError` for what is none."""
    given = np.asarray(values)
    if given.ndim != 2 or min(given.shape) == 0:
        raise BadValueError(f"{name} has shape {given.shape}; an array (h, w) of booleans is needed")
    if given.dtype != np.bool_ and not np.isin(given, (0, 1)).all():
        raise BadValueError(f"{name} holds {given.dtype} values other than 0 and 1; compare it with a threshold first")
    _check_size(given.shape[1], given.shape[0], name)
    return Raster(given.astype(np.bool_))


def _check_size(width: int, height: int, name: str) -> None:
    if max(width, height) > _MOST_SIDE:
        raise BadValueError(f"{name} is {width:,} x {height:,} pixels; at most {_MOST_SIDE:,} either way are read")


def picture_cells(path: Path, *, threshold: float | None = None) -> Raster:
    """Return which pixels of a PNG or JPEG show the figure.

    Transparent pixels are ground. Otherwise the ground is what the picture's rim shows, and the figure is what lies on
    the other side of a threshold of brightness from it: ``threshold`` (0 black to 1 white), or the one that parts the
    picture's brightnesses best (N. Otsu, 1979, IEEE Trans. Systems, Man and Cybernetics 9, 62-66).
    """
    grey, alpha = _brightness(path)
    name = shown_name(path)
    if alpha is not None and (alpha < 0.5).any():
        return Raster(alpha >= 0.5, ("what is not transparent is the figure",), True)
    level = _parting(grey) if threshold is None else float(threshold)
    if not 0 < level < 1:
        raise BadValueError(f"threshold={threshold!r} must lie between 0 (black) and 1 (white)")
    light = grey >= level
    rim = np.concatenate([light[0], light[-1], light[:, 0], light[:, -1]])
    share = float(rim.mean())
    if 0.2 < share < 0.8:
        raise BadValueError(
            f"{name}: {share:.0%} of the picture's rim is light and the rest is dark, so figure and ground cannot be "
            "told apart; photograph it against a plain ground, cut the picture out, or give threshold="
        )
    dark = ~light if share >= 0.5 else light
    side = "dark on light" if share >= 0.5 else "light on dark"
    notes = [f"{side}, parted at {level:.0%} of white"]
    ground, figure = (float(np.median(grey[part])) if part.any() else level for part in (~dark, dark))
    between = ~dark & (np.abs(grey - ground) > _BETWEEN * abs(figure - ground))
    if between.sum() > _MUCH * dark.sum():
        part = between.sum() / dark.sum()
        notes.append(
            f"a part as large as {part:.0%} of the figure is neither as light nor as dark as the rest, and was taken "
            "for ground: is it a shadow, or a part of the figure? threshold= decides"
        )
    if 0 < share < 1 and min(share, 1 - share) > 0.002:
        notes.append("it meets the picture's rim: is a part of it outside the picture?")
    return Raster(dark, tuple(notes), True)


def _brightness(path: Path) -> tuple[Array, Array | None]:
    """Return brightness (h, w) from 0 to 1, and opacity where the picture has it."""
    pillow = _pillow()
    name = shown_name(path)
    regular_file(path, _MOST_BYTES)
    try:
        with pillow.open(path, formats=("PNG", "JPEG")) as picture:
            _check_size(picture.width, picture.height, name)
            clear = "A" in picture.getbands() or "transparency" in picture.info
            whole = _upright(picture).convert("RGBA" if clear else "RGB")
            values = np.asarray(whole, np.float64) / 255
    except (OSError, SyntaxError, ValueError, MemoryError, pillow.DecompressionBombError) as error:
        if isinstance(error, BadValueError):
            raise
        raise UnreadableFileError(f"{name}: no PNG or JPEG that can be read ({error})") from error
    # Weights of red, green and blue: ITU-R BT.601.
    grey = values[..., :3] @ np.array([0.299, 0.587, 0.114])
    return grey, values[..., 3] if clear else None


def _pillow() -> Any:
    try:
        from PIL import Image
    except ImportError as error:
        raise MissingExtraError("pictures need Pillow: pip install 'blockfit[drawings]'") from error
    return Image


def _upright(picture: Any) -> Any:
    """Return a picture turned as its camera was held."""
    from PIL import ImageOps

    return ImageOps.exif_transpose(picture)


def _parting(grey: Array) -> float:
    """Return the brightness that parts two classes with the greatest variance between them."""
    counts, edges = np.histogram(grey, bins=256, range=(0.0, 1.0))
    middles = (edges[:-1] + edges[1:]) / 2
    below = np.cumsum(counts)
    above = below[-1] - below
    sums = np.cumsum(counts * middles)
    with np.errstate(divide="ignore", invalid="ignore"):
        between = below * above * (sums / below - (sums[-1] - sums) / above) ** 2
    between = np.where((below > 0) & (above > 0), between, -math.inf)
    if not np.isfinite(between).any():
        raise BadValueError("the picture has one brightness only: there is no outline in it")
    # All the empty levels between two classes do alike.
    best = np.flatnonzero(between >= between.max() * (1 - ROUNDING))
    return float(edges[round(float(best.mean())) + 1])


def area_of_picture(cells: Raster, name: str, *, lines: bool | None) -> tuple[Any, list[str]]:
    """Return the exact area of the pixels that show the figure, in pixels, and what was done; specks are left out.

    ``lines``: the picture is a line drawing, and the figure is what its lines enclose; ``None`` refuses what looks so.
    """
    if not cells.dark.any():
        raise BadValueError(f"{name} shows nothing: no pixel of it is part of a figure")
    area = area_of_cells(cells.dark)
    notes = list(cells.notes)
    if lines:
        area = filled_lines(area)
        notes.append("what its lines enclose was taken; enclosed within that, an opening")
    area, specks = kept_parts(area, _SPECK, _PINHOLE) if cells.is_photographed else (area, 0)
    if specks:
        notes.append(f"{specks} specks left out, each less than {_SPECK:.2%} of it")
    enclosed = enclosed_area(area)
    if lines is None and area.area < _THIN * enclosed:
        raise BadValueError(
            f"{name}: dark is {area.area / enclosed:.0%} of what it encloses, as in a line drawing; give lines=True to "
            "take what its lines enclose, or lines=False if it is a silhouette all the same"
        )
    return area, notes
