"""Warnings and cautions of an answer as text: warnings in full, cautions counted unless somebody asks for them."""

from collections.abc import Iterator, Mapping, Sequence

from service.client.text.terminal import isolated, paragraph

Remark = Mapping[str, str]
FULL = "Show everything: every figure and how it is found, and every caution in full."
"""Help of the option --full."""


def remarks_text(
    warnings: Sequence[Remark], cautions: Sequence[Remark], columns: int, *, full: bool, more: str = ""
) -> Iterator[str]:
    """The lines below the figures of an answer; nothing if there is nothing to say.

    Args:
        more: what --full shows besides the cautions.
    """
    if warnings:
        yield from ("", "Warnings:")
    for each in warnings:
        yield from paragraph(isolated(each["text"]), columns, "  - ", "    ")
    of_work = [each for each in cautions if each["concerns"] == "work"]
    of_product = [each for each in cautions if each["concerns"] == "product"]
    if full:
        yield from _in_full("Cautions about the work:", of_work, columns)
        yield from _in_full("Cautions about the product:", of_product, columns)
    elif cautions or more:
        yield ""
        told = f"Cautions: {len(of_work)} about the work, {len(of_product)} about the product; " if cautions else ""
        shown = ", and ".join(each for each in ("them" if cautions else "", more) if each)
        yield from paragraph(f"{told}--full shows {shown}.", columns)


def _in_full(heading: str, cautions: Sequence[Remark], columns: int) -> Iterator[str]:
    if cautions:
        yield from ("", heading)
    for each in cautions:
        yield from paragraph(f"{isolated(each['text'])} [{each['source']}]", columns, "  - ", "    ")
