"""YAML with numbers, days and codes kept as they are written; the service reads them exactly."""

from typing import Any

import yaml

# libyaml is seven times as fast, where it is there.
_Loader: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


class _Reader(_Loader):  # type: ignore[misc]
    """Makes no binary fraction of a number and no date of a day, and takes no name twice."""

    def construct_mapping(self, node: Any, deep: bool = False) -> dict[Any, Any]:
        names = [self.construct_object(key, deep=True) for key, _ in node.value]
        twice = next((name for place, name in enumerate(names) if name in names[:place]), None)
        if twice is not None:
            raise yaml.constructor.ConstructorError(None, None, f"'{twice}' stands twice", node.start_mark)
        mapping: dict[Any, Any] = super().construct_mapping(node, deep)
        return mapping


for _kind in ("float", "timestamp"):
    _Reader.add_constructor(f"tag:yaml.org,2002:{_kind}", _Reader.construct_yaml_str)


def read_yaml(text: str) -> Any:
    """What the text says.

    Raises:
        ValueError: it is not YAML; the reason tells the line.
    """
    try:
        return yaml.load(text, _Reader)  # noqa: S506 - a safe loader, though of our own
    except yaml.YAMLError as error:
        raise ValueError(" ".join(str(error).split())) from None
