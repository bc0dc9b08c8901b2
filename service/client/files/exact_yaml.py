"""YAML with numbers and days kept as text, so that the service reads them exactly."""

from typing import Any

import yaml

# libyaml, where installed, is seven times as fast.
_Loader: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


class _Reader(_Loader):  # type: ignore[misc]
    """Keeps decimals and days as text, and refuses duplicate names."""

    def construct_mapping(self, node: Any, deep: bool = False) -> dict[Any, Any]:
        names = [self.construct_object(key, deep=True) for key, _ in node.value]
        twice = next((name for place, name in enumerate(names) if name in names[:place]), None)
        if twice is not None:
            raise yaml.constructor.ConstructorError(None, None, f"'{twice}' occurs twice", node.start_mark)
        mapping: dict[Any, Any] = super().construct_mapping(node, deep)
        return mapping


for _kind in ("float", "timestamp"):
    _Reader.add_constructor(f"tag:yaml.org,2002:{_kind}", _Reader.construct_yaml_str)


def read_yaml(text: str) -> Any:
    """The data in a YAML text.

    Raises:
        ValueError: if it is not YAML; the message names the line.
    """
    try:
        return yaml.load(text, _Reader)  # noqa: S506 - derived from a safe loader
    except yaml.YAMLError as error:
        raise ValueError(" ".join(str(error).split())) from None
