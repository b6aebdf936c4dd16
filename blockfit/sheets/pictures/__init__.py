"""Pictures to pin up: the measured drawing, maps and charts; as files or as bytes."""

from blockfit.sheets.pictures.drawings import (
    bounds_picture,
    check_picture,
    cover_map,
    left_map,
    measured_drawing,
    picture_bytes,
    save_picture,
    thickness_map,
    trade_picture,
    undercut_map,
    view_drawing,
    weight_picture,
    yard_picture,
)

__all__ = [
    "bounds_picture",
    "check_picture",
    "cover_map",
    "left_map",
    "measured_drawing",
    "picture_bytes",
    "save_picture",
    "thickness_map",
    "trade_picture",
    "undercut_map",
    "view_drawing",
    "weight_picture",
    "yard_picture",
]
