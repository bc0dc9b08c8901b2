"""A repricing as the commands do it: worked out, put in force in the state it was worked out in, and written down."""

from typing import Any, BinaryIO

from service.client.command import FILE, Declared, Options, option
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
_FILTERS = ("channel", "product", "tag")

Question = dict[str, Any]
"""Which listings, on which day, by which rules: the body of a POST to /v1/repricings."""
Answer = dict[str, Any]
"""What the service says of a repricing or its preview, with the first of its changes."""


_WHICH = "Which listings (each option narrows)"
_HOW_FAR = "How far prices move"
_OPTIONS = (
    option("--as-of", metavar="DAY", help="The day whose rates are used, for instance 2026-11-30."),
    option("--dry-run", is_flag=True, help="Show what would change; store nothing."),
    option("--csv", metavar="FILE", type=FILE, help="Write every change into this file, too."),
    option("--channel", section=_WHICH, metavar="CODE", help="Those of a sales channel."),
    option("--product", section=_WHICH, metavar="CODE", help="Those of a product."),
    option("--tag", section=_WHICH, metavar="CODE", help="Those with a tag."),
    option(
        "--least-move",
        section=_HOW_FAR,
        metavar="SHARE",
        help="Keep a price that still meets its policy if it would move by less.",
    ),
    option("--greatest-move", section=_HOW_FAR, metavar="SHARE", help="Hold a price back if it would move by more."),
    option(
        "--confirm",
        section=_HOW_FAR,
        one_of="confirmed",
        metavar="LISTING",
        multiple=True,
        help="Let it move all the same; may be given several times.",
    ),
    option(
        "--confirm-all", section=_HOW_FAR, one_of="confirmed", is_flag=True, help="Let every price move, however far."
    ),
)


def with_repricing(job: Declared) -> Declared:
    """The job with the options of every command that reprices."""
    for declare in reversed(_OPTIONS):
        job = declare(job)
    return job


def question_of(options: Options, scope: dict[str, Any], **members: Any) -> Question:
    """What the command line asks for, within a scope."""
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
    """Answer the question and put the prices in force, unless it is a dry run; every change goes into the file."""
    answer = _settled(service, question, is_dry_run=is_dry_run)
    if file is not None:
        _save_changes(service, question, answer, file)
    return answer


def show(answer: Answer) -> None:
    """Print what was done, or would be.

    Raises:
        WaitingError: prices are held back or cannot be worked out.
    """
    print(repricing_text(answer, width()))
    _check_nothing_waits(answer)


def _settled(service: Service, question: Question, *, is_dry_run: bool) -> Answer:
    with waiting_shown("working prices out"):
        preview = service.send("POST", ADDRESS, question, query=_SHOWN, is_long=True)
        answer: Answer = service.data(preview)
    if is_dry_run or not answer["summary"]["first"] + answer["summary"]["changed"]:
        return answer
    applied, in_that_state = {**question, "apply": True}, {"If-Match": preview.headers["ETag"]}
    with waiting_shown("putting prices in force"):
        done: Answer = service.data(
            service.send("POST", ADDRESS, applied, query=_SHOWN, headers=in_that_state, is_long=True)
        )
    return done


def _save_changes(service: Service, question: Question, answer: Answer, file: BinaryIO) -> None:
    """Every change as CSV, in the words of the service."""
    if answer["id"] is None:
        _save(service, file, answer, "POST", ADDRESS, question)
        return
    try:
        save_recorded(service, answer, file)
    except RefusedError as error:
        told = f"the prices are in force, by repricing {answer['id']}, but its changes could not be written: {error}"
        raise type(error)(told, error.status) from None


def save_recorded(service: Service, repricing: Answer, file: BinaryIO) -> None:
    """Every change of a repricing that is stored, as CSV."""
    _save(service, file, repricing, "GET", f"{ADDRESS}/{repricing['id']}/changes")


def _save(service: Service, file: BinaryIO, answer: Answer, method: str, path: str, body: Any = None) -> None:
    listed = service.send(method, path, body, headers={"Accept": "text/csv"}, is_long=True)
    file.writelines(bytes_shown(service.parts(listed), "changes", length_of(listed.headers)))
    # An answer of unknown length that broke off on the other side looks like a short one.
    wanted = sum(answer["summary"][decision] for decision in _LISTED)
    if (written := records_in(file)) != wanted:
        raise OutOfReachError(f"{written} changes came instead of {wanted}; something was changed, or it broke off")


def length_of(headers: Any) -> int | None:
    """How many bytes an answer says it has."""
    return int(headers["Content-Length"]) if "Content-Length" in headers else None


def _check_nothing_waits(answer: Answer) -> None:
    """Say what waits for somebody, if anything does.

    Raises:
        WaitingError: something does.
    """
    waiting = []
    for decision, meaning in (("held", "held back until confirmed"), ("unpriced", "without a price")):
        count, shown = answer["summary"][decision], answer["changes"]["items"]
        if count:
            codes = [each["listing"] for each in shown if each["decision"] == decision]
            more = "" if len(codes) == count else " and others" if codes else "see --csv"
            waiting.append(f"{count} {meaning}: {', '.join(codes)}{more}")
    if waiting:
        raise WaitingError("; ".join(waiting))
