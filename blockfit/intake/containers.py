"""What a mesh file's own directory promises, weighed before anything is unpacked: GLB, 3MF, PLY, OFF.

Nothing here reads the mesh itself. What promises more than the file can hold, refers to itself, multiplies without end,
or needs an extension that is not read, raises `UnreadableFileError`."""

import io
import re
import struct
import zipfile
from collections.abc import Mapping, Sequence
from typing import Any

from blockfit.errors import BadValueError, UnreadableFileError
from blockfit.intake.guard import json_from

__all__ = ["MOST_FACES", "check_container"]

MOST_FACES = 60_000_000
_MOST_INFLATED = 600 << 20  # bytes of a 3MF unpacked: some ten million triangles
_MOST_ENTRIES = 5000
_DEEPEST = 500  # parts within parts
_COMPONENTS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT2": 4, "MAT3": 9, "MAT4": 16}
_SIZES = {5120: 1, 5121: 1, 5122: 2, 5123: 2, 5125: 4, 5126: 4}  # glTF 2.0, table of component types
_HARMLESS = re.compile(r"(KHR|EXT|ADOBE|MSFT)_(materials|texture|lights|xmp|animation)\w*|KHR_mesh_quantization")
_TAG = re.compile(rb"<(?:\w+:)?(object|component|item|triangle)\b([^>]*)", re.IGNORECASE)
_ID = re.compile(rb"""\b(?:object)?id\s*=\s*["']([^"']{1,40})["']""")
_PATH = re.compile(rb"""\bpath\s*=\s*["']([^"']{1,200})["']""")


def check_container(name: str, data: bytes, kind: str) -> None:
    """Raise `UnreadableFileError` where a file of this kind cannot hold what it says, or says too much."""
    {"glb": _check_glb, "3mf": _check_3mf, "ply": _check_ply, "off": _check_off}.get(kind, _nothing)(name, data)


def _nothing(name: str, data: bytes) -> None:
    return None


def _check_ply(name: str, data: bytes) -> None:
    head = data[: 1 << 16].split(b"end_header")[0]
    for count in re.findall(rb"^\s*element\s+\S+\s+(\d+)", head, re.MULTILINE):
        _check_count(name, count, len(data), "elements")


def _check_off(name: str, data: bytes) -> None:
    head = re.sub(rb"#[^\n]*", b"", data[:4096])
    found = re.search(rb"OFF\s+(\d+)\s+(\d+)", head)
    for count in found.groups() if found else ():
        _check_count(name, count, len(data), "vertices or faces")


def _check_count(name: str, digits: bytes, most: int, what: str) -> None:
    if len(digits) > 15 or int(digits) > most:
        text = digits[:15].decode() + ("…" if len(digits) > 15 else "")
        raise UnreadableFileError(
            f"{name} is cut short or damaged: it promises {text} {what} in {most:,} bytes; copy or export it again"
        )


# ---- GLB: glTF 2.0, section 4.4 (binary container), 3.6 (accessors), 3.5 (nodes) ----


def _check_glb(name: str, data: bytes) -> None:
    if data[:4] != b"glTF" or len(data) < 20:
        return  # what that is, the reader says
    length, kind = struct.unpack("<I4s", data[12:20])
    if kind != b"JSON" or length > len(data) - 20:
        raise UnreadableFileError(f"{name} is cut short: its directory is not whole; copy or export it again")
    try:
        tree = json_from(data[20 : 20 + length].decode("utf-8", "replace").rstrip("\0 "), f"{name}, its directory")
        if not isinstance(tree, dict):
            raise UnreadableFileError(f"{name}: its directory is no object; export it again")
        _check_extensions(name, tree)
        _check_accessors(name, tree, len(data))
        _check_nodes(name, tree)
    except (AttributeError, IndexError, KeyError, TypeError, BadValueError) as error:
        if isinstance(error, UnreadableFileError):
            raise
        reason = str(error) if isinstance(error, BadValueError) else "its directory names what is not there"
        raise UnreadableFileError(f"{name} is damaged: {reason}; export it again") from error


def _check_extensions(name: str, tree: Mapping[str, Any]) -> None:
    unread = [str(word) for word in tree.get("extensionsRequired", ()) if not _HARMLESS.fullmatch(str(word))]
    if unread:
        raise UnreadableFileError(
            f"{name} needs {unread[0][:60]}, which is not read; export it without compression or other extensions"
        )


def _check_accessors(name: str, tree: Mapping[str, Any], most: int) -> None:
    views = tree.get("bufferViews", [])
    for accessor in tree.get("accessors", []):
        if "sparse" in accessor:
            raise UnreadableFileError(f"{name} stores sparse accessors, which are not read; export it with plain ones")
        count = accessor["count"]
        size = count * _COMPONENTS[accessor["type"]] * _SIZES[accessor["componentType"]]
        held = views[accessor["bufferView"]]["byteLength"] if "bufferView" in accessor else 0
        if count < 0 or size > min(held, most):
            raise UnreadableFileError(
                f"{name} is cut short or damaged: it promises {count:,} values where {min(held, most):,} bytes are held"
            )


def _check_nodes(name: str, tree: Mapping[str, Any]) -> None:
    accessors = tree.get("accessors", [])

    def faces_of(mesh: Mapping[str, Any]) -> float:
        counts = []
        for part in mesh.get("primitives", ()):
            at = part.get("indices", part.get("attributes", {}).get("POSITION"))
            counts.append(accessors[at]["count"] / 3 if at is not None else 0)
            if accessors and part.get("attributes", {}).get("POSITION") is not None:
                where = accessors[part["attributes"]["POSITION"]]
                if where.get("normalized"):
                    raise UnreadableFileError(f"{name} stores normalized positions, which are not read; export floats")
        return sum(counts)

    meshes = [faces_of(mesh) for mesh in tree.get("meshes", [])]
    nodes = tree.get("nodes", [])
    own = {k: meshes[node["mesh"]] if "mesh" in node else 0.0 for k, node in enumerate(nodes)}
    _check_tree(name, {k: node.get("children", ()) for k, node in enumerate(nodes)}, own)


def _check_tree(name: str, children: Mapping[Any, Sequence[Any]], own: Mapping[Any, float]) -> None:
    """Raise where parts lie within themselves, or where all that is placed is too much. Nothing is unfolded."""
    total: dict[Any, float] = {}
    depth: dict[Any, int] = {}
    for root in children:
        path: list[tuple[Any, int]] = [(root, 0)]
        open_parts = {root}
        while path:
            part, at = path.pop()
            below = children.get(part, ())
            if at < len(below):
                path.append((part, at + 1))
                following = below[at]
                if following in open_parts:
                    raise UnreadableFileError(f"{name} is damaged: a part lies within itself; export it again")
                if following not in total:
                    path.append((following, 0))
                    open_parts.add(following)
                continue
            open_parts.discard(part)
            depth[part] = 1 + max((depth[each] for each in below), default=0)
            if depth[part] > _DEEPEST:
                raise UnreadableFileError(
                    f"{name}: parts lie in parts more than {_DEEPEST} deep; export it as one mesh"
                )
            total[part] = own.get(part, 0.0) + sum(total[each] for each in below)
            if total[part] + len(below) > MOST_FACES:
                raise UnreadableFileError(
                    f"{name} places its parts so often that they come to {total[part]:.3g} faces; at most "
                    f"{MOST_FACES:,} are read"
                )


# ---- 3MF: a zip of XML; core specification, objects with components, a build with items ----


def _check_3mf(name: str, data: bytes) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            entries = archive.infolist()
            _check_entries(name, entries)
            models = {e.filename.lstrip("/"): archive.read(e) for e in entries if e.filename.lower().endswith(".model")}
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, OSError, EOFError, ValueError) as error:
        if isinstance(error, UnreadableFileError):
            raise
        return  # what is wrong with it, the reader says
    except Exception as error:  # zlib.error and what else its decompressors raise
        raise UnreadableFileError(f"{name} is damaged: {type(error).__name__}; copy or export it again") from error
    for model in models.values():
        if b"<!DOCTYPE" in model[:4096] or b"<!ENTITY" in model:
            raise UnreadableFileError(f"{name} defines entities of its own, which are not read; export it again")
    _check_components(name, models)


def _check_entries(name: str, entries: list[zipfile.ZipInfo]) -> None:
    inflated = sum(entry.file_size for entry in entries)
    if inflated > _MOST_INFLATED or len(entries) > _MOST_ENTRIES:
        raise UnreadableFileError(
            f"{name} unpacks to {inflated / 1e6:,.0f} MB in {len(entries):,} parts; at most "
            f"{_MOST_INFLATED / 1e6:,.0f} MB in {_MOST_ENTRIES:,} are read: export it as binary STL or PLY"
        )


def _check_components(name: str, models: Mapping[str, bytes]) -> None:
    """Check the tree of parts: objects are known by their file and number."""
    root = ("", b"")
    children: dict[tuple[str, bytes], list[tuple[str, bytes]]] = {root: []}
    own: dict[tuple[str, bytes], float] = {}
    for file, model in models.items():
        current = root
        for found in _TAG.finditer(model):
            tag, words = found.group(1).lower(), found.group(2)
            if tag == b"triangle":
                own[current] = own.get(current, 0.0) + 1
                continue
            if tag != b"object" and _PATH.search(words):  # left out, a limb would be lost without a word
                raise UnreadableFileError(
                    f"{name} keeps parts in files of their own within it, which are not read; export it as one "
                    "plain 3MF, or as STL or PLY"
                )
            named = _ID.search(words)
            key = (file, named.group(1) if named else b"?")
            if tag == b"object":
                current = key
                children.setdefault(current, [])
            else:
                children[root if tag == b"item" else current].append(key)
    _check_tree(name, children, own)
