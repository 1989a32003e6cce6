"""Walks the models as the files see them: which keys a block has, what stands where."""

from __future__ import annotations

import types
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from monitor.settings.model import Way
from monitor.settings.secrets import Secret


def parts_of(annotation: Any) -> tuple[Any, ...]:
    """The metadata of an annotation, also of one inside `X | None`."""
    if get_origin(annotation) is Annotated:
        return (*annotation.__metadata__, *parts_of(annotation.__origin__))
    if get_origin(annotation) in (Union, types.UnionType):
        return tuple(part for arg in get_args(annotation) for part in parts_of(arg))
    return ()


def bare(annotation: Any) -> Any:
    """An annotation without metadata and without `None`."""
    while get_origin(annotation) is Annotated:
        annotation = annotation.__origin__
    if get_origin(annotation) in (Union, types.UnionType):
        args = [arg for arg in get_args(annotation) if arg is not types.NoneType]
        return bare(args[0]) if len(args) == 1 else annotation
    return annotation


def is_model(annotation: Any) -> bool:
    """Whether an annotation is a block of keys."""
    return isinstance(annotation, type) and issubclass(annotation, BaseModel)


def file_keys(model: Any) -> dict[str, FieldInfo]:
    """The keys of a block as the file writes them."""
    if not is_model(model):
        return {}
    return {info.alias or name: info for name, info in model.model_fields.items()}


def full(info: FieldInfo) -> Any:
    """A field's annotation with the metadata pydantic took off it."""
    annotation: Any = info.annotation
    for part in info.metadata:
        annotation = Annotated[annotation, part]
    return annotation


def annotation_at(model: Any, data: Any, way: Way) -> Any:
    """The annotation of what stands at `way`, or None where nothing is foreseen."""
    annotation = model
    for step in way:
        annotation = _chosen(bare(annotation), data)
        origin, args = get_origin(annotation), get_args(annotation)
        if is_model(annotation):
            info = file_keys(annotation).get(str(step))
            annotation = None if info is None else full(info)
        elif origin is tuple and isinstance(step, int):
            annotation = args[0]
        elif origin is dict:
            annotation = args[1]
        elif annotation is Secret:
            return Secret
        else:
            return None
        if annotation is None:
            return None
        data = _inside(data, step)
    return _chosen(annotation, data)


def _inside(data: Any, step: int | str) -> Any:
    if isinstance(data, dict):
        return data.get(step)
    if isinstance(data, tuple) and isinstance(step, int) and step < len(data):
        return data[step]
    return None


def _chosen(annotation: Any, data: Any) -> Any:
    """Of several kinds of block the one the data says it is."""
    inner = bare(annotation)
    if get_origin(inner) not in (Union, types.UnionType):
        return annotation
    said = data.get("kind") if isinstance(data, dict) else None
    for model in get_args(inner):
        kind = file_keys(model).get("kind")
        if kind is not None and said in get_args(kind.annotation):
            return model
    return annotation
