"""Repricing by a command: preview, apply exactly that preview, write the changes to a file."""

from typing import Any, BinaryIO

from service.client.command import FILE, Declared, Options, option, told_again
from service.client.ends import OutOfReachError, RefusedError, WaitingError
from service.client.files.new_file import records_in
from service.client.http import Service
from service.client.members import without_nothing
from service.client.progress import bytes_shown, waiting_shown
from service.client.text.repricing import repricing_text
from service.client.text.terminal import width

ADDRESS = "/v1/repricings"
_SHOWN = {"limit": 500}
_LISTED = ("first", "changed", "held", "unpriced")
_MOST_CONFIRMED = 50
"""Most listings that are named on a command line."""
_FILTERS = ("channel", "product", "tag")

Question = dict[str, Any]
"""Which listings, on which day, by which rules: the body of a POST to /v1/repricings."""
Answer = dict[str, Any]
"""The service's answer: a repricing or its preview, with the first page of changes."""


_WHICH = "Which listings (all conditions must hold)"
_HOW_FAR = "How far prices may change"
_OPTIONS = (
    option("--as-of", metavar="DAY", help="The day of the rates, and the first day of the prices (default: today)."),
    option("--dry-run", is_flag=True, help="Show what would change; store nothing."),
    option("--csv", metavar="FILE", type=FILE, help="Write every change to this file, too."),
    option("--full", is_flag=True, help="Show every change, not only those that wait or move most."),
    option("--channel", section=_WHICH, metavar="CODE", help="Listings on this sales channel."),
    option("--product", section=_WHICH, metavar="CODE", help="Listings of this product."),
    option("--tag", section=_WHICH, metavar="CODE", help="Listings with this tag."),
    option(
        "--least-move",
        section=_HOW_FAR,
        metavar="SHARE",
        help="Keep a price that still meets its policy if it would change by less.",
    ),
    option("--greatest-move", section=_HOW_FAR, metavar="SHARE", help="Hold a price back if it would change by more."),
    option(
        "--confirm",
        section=_HOW_FAR,
        one_of="confirmed",
        metavar="LISTING",
        multiple=True,
        help="Apply its price all the same; may be repeated.",
    ),
    option("--confirm-all", section=_HOW_FAR, one_of="confirmed", is_flag=True, help="Hold no price back."),
)


def with_repricing(job: Declared) -> Declared:
    """Decorates a job with the options common to commands that reprice."""
    for declare in reversed(_OPTIONS):
        job = declare(job)
    return job


def question_of(options: Options, scope: dict[str, Any], **members: Any) -> Question:
    """The question asked on the command line, within a scope."""
    narrowed = {**scope, **{name: getattr(options, name) for name in _FILTERS}}
    question: Question = without_nothing(
        {
            "as_of": options.as_of,
            "scope": narrowed,
            "rules": {"least_move_share": options.least_move, "greatest_move_share": options.greatest_move},
            "confirmed": [*options.confirm],
            "confirm_all": options.confirm_all,
            **members,
        }
    )
    return question


def repriced(service: Service, question: Question, *, is_dry_run: bool, file: BinaryIO | None) -> Answer:
    """Reprice, or in a dry run preview; writes every change to the file."""
    answer = _settled(service, question, is_dry_run=is_dry_run)
    if file is not None:
        _save_changes(service, question, answer, file)
    return answer


def show(answer: Answer, options: Options) -> None:
    """Print what was done, or would be done.

    Args:
        options: of the command line.

    Raises:
        WaitingError: if prices are held back or cannot be computed.
    """
    print(repricing_text(answer, width(), full=options.full))
    _check_nothing_waits(answer, options)


def _settled(service: Service, question: Question, *, is_dry_run: bool) -> Answer:
    with waiting_shown("computing prices"):
        preview = service.send("POST", ADDRESS, question, query=_SHOWN, is_long=True)
        answer: Answer = service.data(preview)
    if is_dry_run or not answer["summary"]["first"] + answer["summary"]["changed"]:
        return answer
    applied, in_that_state = {**question, "apply": True}, {"If-Match": preview.headers["ETag"]}
    with waiting_shown("applying prices"):
        done: Answer = service.data(
            service.send("POST", ADDRESS, applied, query=_SHOWN, headers=in_that_state, is_long=True)
        )
    return done


def _save_changes(service: Service, question: Question, answer: Answer, file: BinaryIO) -> None:
    """Write every change as the service's CSV."""
    if answer["id"] is None:
        _save(service, file, answer, "POST", f"{ADDRESS}.csv", question)
        return
    try:
        save_recorded(service, answer, file)
    except RefusedError as error:
        told = f"the prices are applied, by repricing {answer['id']}, but its changes could not be written: {error}"
        raise type(error)(told, error.status) from None


def save_recorded(service: Service, repricing: Answer, file: BinaryIO) -> None:
    """Write every change of a stored repricing as CSV."""
    _save(service, file, repricing, "GET", f"{ADDRESS}/{repricing['id']}/changes.csv")


def _save(service: Service, file: BinaryIO, answer: Answer, method: str, path: str, body: Any = None) -> None:
    listed = service.send(method, path, body, is_long=True)
    file.writelines(bytes_shown(service.parts(listed), "changes", length_of(listed.headers)))
    # An answer without a length that was cut off by the other side looks like a short one.
    wanted = sum(answer["summary"][decision] for decision in _LISTED)
    if (written := records_in(file)) != wanted:
        raise OutOfReachError(f"{written} of {wanted} changes came: something changed, or the answer was cut off")


def length_of(headers: Any) -> int | None:
    """Content-Length of an answer, if it has one."""
    return int(headers["Content-Length"]) if "Content-Length" in headers else None


def _check_nothing_waits(answer: Answer, options: Options) -> None:
    """Check that no price is held back or missing.

    Raises:
        WaitingError: if one is; with the command that lets through what is held back.
    """
    waiting = []
    for decision, meaning in (("held", "held back until confirmed"), ("unpriced", "without a price")):
        count, codes = answer["summary"][decision], _shown(answer, decision)
        if count:
            more = "" if len(codes) == count else " and others" if codes else "see --csv"
            waiting.append(f"{count} {meaning}: {', '.join(codes)}{more}")
    if waiting:
        is_held = bool(answer["summary"]["held"])
        through = f"\nTo let through what is held back:\n  {_confirming(answer, options)}" if is_held else ""
        raise WaitingError("; ".join(waiting) + through)


def _shown(answer: Answer, decision: str) -> list[str]:
    """The listings with this decision, as far as the answer shows them."""
    return [each["listing"] for each in answer["changes"]["items"] if each["decision"] == decision]


def _confirming(answer: Answer, options: Options) -> str:
    """The command as it was given, with everything confirmed that it holds back."""
    held = _shown(answer, "held")
    if len(held) < answer["summary"]["held"] or len(held) > _MOST_CONFIRMED:
        return told_again({"confirm": [], "confirm_all": ["yes"]})
    return told_again({"confirm": [*options.confirm, *held]})
