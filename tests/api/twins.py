"""Two workshops with equal codes, days and numbers but different texts and figures: one acts, the other is watched."""

import io
import re
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Any
from zlib import crc32

from pypdf import PdfReader

from service.api.http.forms import HTML, IMAGES, PDF
from service.store.engine.database import Database
from service.store.workshop.workshops import find_workshop
from tests.api.outside import Stored, operations, stored
from tests.api.places import (
    COLLECTIONS,
    KEYED,
    RATES_FILE,
    Altered,
    Ids,
    Place,
    hold_back_a_day,
    ids_of,
    named,
    register_collections,
    register_everything,
)
from tests.conftest import Client
from tests.support import builders
from tests.support.contract import Contract
from tests.support.feed import RATES, FeedServer, day_of, sending, xml_of

SECOND = "second"
PREVIEW = "POST /v1/repricings as a preview"
LEARNING = "POST /v1/products/{code}/learning as a preview"
# PNG shows the same as SVG and takes longest.
READING = {named(place): place for place in KEYED if not place.stores and not place.template.endswith(".png")}
READING[PREVIEW] = Place(
    method="POST",
    template="/v1/repricings",
    path="/v1/repricings",
    body={"as_of": "2026-11-25", "rates": {"materials/hdpe": builders.material_rate("0.90")}},
    for_stranger=200,
)
READING[LEARNING] = Place(
    method="POST",
    template="/v1/products/{code}/learning",
    path="/v1/products/sheet/learning",
    body={"without_outliers": True},
    for_stranger=404,
)
READING["GET /v1/price-list at the prices in force"] = Place(
    method="GET", template="/v1/price-list", path="/v1/price-list?as_of=2026-11-25&prices=in_force", for_stranger=200
)
_FIGURE = re.compile(r"(?<![\w.:-])\d+\.\d+(?![\w.:])")
# A cent, weeks a month, versions of XML and UBL, the score of an outlier, and sections of 29 CFR, a source of cautions.
_CONSTANTS = {Decimal(figure) for figure in ("0.01", "4.333333", "1.0", "2.1", "3.5", "1910.147", "1910.212")}
_SHOWN = ("Content-Type", "Content-Disposition", "ETag", "Link", "Location")
_OF_A_THING = 3  # slashes in /v1/materials/hdpe
_TO_BE = ("complete", "accept", "decline", "revise", "issue", "discard")
"""The step to try on each quotation that a workshop makes, in the order of the list."""

Key = tuple[str, str, str]
"""Key of an answer: the place, whether its quotation is addressed by id or number, and the media type."""
Answers = dict[Key, Any]


def _in_order() -> dict[str, Place]:
    """Operations that change data, in an order that works: deletions last, rates before things, users first.

    Without those that do the same and answer in another form.
    """
    changing = [place for place in KEYED if place.stores and not place.is_document]
    registered = tuple(f"/v1/{collection}/" for collection in COLLECTIONS)
    going = [place for place in changing if place.method == "DELETE" and place.path.startswith(registered)]
    coming = [place for place in changing if place not in going]
    rates = [place for place in going if "/rates/" in place.path]
    things = [place for place in going if place not in rates]
    return {named(place): place for place in (*coming, *rates, *reversed(things))}


CHANGING = _in_order()


def altered_by(mark: str, factor: str) -> Altered:
    """Adds the mark to each name and multiplies each decimal figure; the sum of two band shares stays the same."""

    def figure(told: str) -> str:
        # The factor varies a little, or the ratio of two figures would be the same in both workshops.
        return str(Decimal(told) * (Decimal(factor) + Decimal(crc32(told.encode()) % 89) / 10_000))

    def altered(body: Any) -> Any:
        if isinstance(body, dict):
            return {name: member(name, each) for name, each in body.items()}
        if isinstance(body, list):
            return [altered(each) for each in body]
        if isinstance(body, builders.CsvFile):
            return builders.CsvFile(_FIGURE.sub(lambda found: figure(found[0]), body))
        return figure(body) if isinstance(body, str) and re.fullmatch(r"\d+(\.\d+)?", body) else body

    def member(name: str, each: Any) -> Any:
        if name == "band_shares":
            (more, one), (less, other) = each.items()
            return {more: figure(one), less: str(Decimal(one) + Decimal(other) - Decimal(figure(one)))}
        return f"{each} {mark}" if name == "name" else altered(each)

    return altered


@dataclass(frozen=True, slots=True, kw_only=True)
class Twin:
    """One of the two workshops.

    Attributes:
        client: its client.
        mark: part of every text that it registers.
        altered: turns the usual bodies into its own.
        anew: the same with other figures and the same mark.
    """

    client: Client
    mark: str
    altered: Altered
    anew: Altered

    @property
    def secrets(self) -> tuple[str, ...]:
        """Texts that must never appear in an answer to another workshop."""
        workshop_id = self.client.workshop.workshop_id
        return self.mark, str(workshop_id), workshop_id.hex

    @property
    def revision(self) -> int:
        """The number of changes of its facts and rates."""
        database: Database = self.client.app.extensions["pugmill.database"]
        with database.reading() as connection:
            found = find_workshop(connection, self.client.workshop.workshop_id)
        assert found is not None
        return found.revision


def quotation(twin: Twin, become: str) -> dict[str, Any]:
    """The quotation on which a step is to be tried."""
    found: dict[str, Any] = twin.client.get("quotations").json["items"][
        1 + _TO_BE.index(become)
    ]  # register_everything made the first
    return found


def furnish(twin: Twin, feed: FeedServer) -> None:
    """Register two of everything, then quote, issue, accept and reprice."""
    client, altered = twin.client, twin.altered
    register_everything(client, altered)
    register_collections(client, altered, day="2025-06-01")
    register_collections(client, altered, code=SECOND)
    expected = [client.put(f"batch-records/{SECOND}", altered(builders.batch_record()))]
    expected += [client.post("exchange-rates/import?source=customs", altered(RATES_FILE))]
    feed.answer = sending(xml_of({day_of(): altered(dict(RATES))}))
    expected += [client.post("exchange-rates/refresh", {"span": "latest"})]
    hold_back_a_day(client, altered, "2026-01-02")
    expected += [client.post("quotations", altered(builders.quotation())) for _ in _TO_BE]
    for become in ("complete", "accept", "decline", "revise"):
        expected.append(client.post(f"quotations/{quotation(twin, become)['id']}/issue", None))
    expected.append(client.post(f"quotations/{quotation(twin, 'complete')['number']}/accept", {}))
    dearer = altered(builders.material_rate("0.83"))
    client.register("materials/hdpe", altered(builders.material()), **{"2026-02-01": dearer})
    expected.append(client.post("repricings", {"as_of": "2026-11-25", "apply": True}))
    pressing = client.get("products/sheet").json["operations"][0]["name"]
    made = builders.batch_record(
        materials=[{"material": "hdpe", "issued": "230", "returned": "2.5"}],
        operations=[{"operation": pressing, "minutes": "893.7"}],
    )
    counted = altered(made)
    records = [{**counted, "code": f"C-{number}"} for number in range(5)]
    expected.append(client.post("batch-records", {"records": records}))
    # Costs nothing, because the sheet states no loss; what else is at odds is left for what is tried.
    reclaimed = {"fact": "reclaim_share", "item": "hdpe"}
    expected.append(client.post("products/sheet/learning", {"apply": True, "facts": [reclaimed]}))
    assert all(each.status_code in (200, 201) for each in expected), [each.text for each in expected]


def ids_by(twin: Twin, *, number: bool) -> Ids:
    """Ids of the accepted quotation (its id or its number) and of the newest repricing."""
    promised = quotation(twin, "complete")
    return {**ids_of(twin.client), "quotation_id": promised["number" if number else "id"]}


def asked(twin: Twin, contract: Contract) -> Answers:
    """The answers of all reading operations, by id and by number, in each form."""
    documented = {(method, template): operation for method, template, operation in operations(contract.document)}
    found = {}
    for by in ("id", "number"):
        ids = ids_by(twin, number=by == "number")
        for name, place in READING.items():
            if by == "number" and "{quotation_id}" not in place.path:
                continue
            for form in documented[place.method, place.template]["responses"]["200"]["content"]:
                found[name, by, form] = twin.client.request(
                    place.method, place.address(ids), place.body, headers={"Accept": form}
                )
    return found


def asked_again(twin: Twin, known: Answers) -> Answers:
    """Answers to this twin for requests with the entity tags that the other received at the same addresses."""
    found, ids = {}, ids_by(twin, number=True)
    for (name, by, form), answer in known.items():
        place, is_the_same = READING[name], by == "number" or "{" not in READING[name].path
        if "ETag" in answer.headers and is_the_same:
            headers = {"Accept": form, "If-None-Match": answer.headers["ETag"]}
            found[name, by, form] = twin.client.request(place.method, place.address(ids), place.body, headers=headers)
    return found


def shown(answer: Any) -> tuple[int, dict[str, str], bytes]:
    """The parts of an answer that do not vary between equal requests."""
    return answer.status_code, {name: answer.headers[name] for name in _SHOWN if name in answer.headers}, answer.data


def told(answer: Any) -> str:
    """The text of an answer, with its headers."""
    if answer.mimetype == PDF:
        body = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(answer.data)).pages)
    else:
        body = answer.data.decode("utf-8", "replace")
    return f"{answer.headers}\n{body}"


def figures(answer: Any) -> set[Decimal]:
    """The decimal figures of an answer, without zero; none for pictures and pages, which contain measures of layout."""
    if answer.mimetype in {HTML, PDF, *IMAGES}:
        return set()
    return {Decimal(figure) for figure in _FIGURE.findall(answer.text)} - {Decimal(0)}


def everybodys(place: Place) -> set[Decimal]:
    """The decimal figures that an answer may contain for any workshop."""
    return {Decimal(figure) for figure in _FIGURE.findall(f"{place.path} {place.body}")} | _CONSTANTS


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """The results of trying a changing operation.

    Attributes:
        answer: answer to the acting twin.
        has_changed: whether it changed anything of the acting twin's.
        has_made_keys: whether it changed the acting twin's keys.
        left: what is stored for the watched twin, before and after.
        with_its_id: answer under the watched twin's id, if the address has one.
        with_its_tag: answer with the watched twin's entity tag as condition, if the operation takes one.
    """

    answer: Any
    has_changed: bool
    has_made_keys: bool
    left: tuple[Stored, Stored]
    with_its_id: Any = None
    with_its_tag: Any = None


@dataclass(kw_only=True)
class Walk:
    """All answers to two twins while one of them tries every operation.

    Attributes:
        watched: the twin that only reads.
        acting: the twin that tries everything.
        revisions: their revisions at the start.
        first: answers to the watched twin before the changes.
        own: answers to the acting twin before the changes.
        knowing: the same with the watched twin's entity tags as condition.
        with_its_id: the same under the watched twin's ids.
        done: results of each change.
        after: answers to the watched twin after the changes.
        anew: the same by a new process, without anything cached.
    """

    watched: Twin
    acting: Twin
    revisions: tuple[int, int]
    first: Answers = field(default_factory=dict)
    own: Answers = field(default_factory=dict)
    knowing: Answers = field(default_factory=dict)
    with_its_id: dict[str, Any] = field(default_factory=dict)
    done: dict[str, Done] = field(default_factory=dict)
    after: Answers = field(default_factory=dict)
    anew: Answers = field(default_factory=dict)


def address_in(twin: Twin, place: Place, whose: Twin) -> str:
    """The address at which a twin tries a change: its own thing, or the other's."""
    become = "discard" if place.method == "DELETE" else place.path.rpartition("/")[2]
    ids: dict[str, str] = {}
    if "{quotation_id}" in place.path:
        found = quotation(whose, become)
        # Numbers are the same in both workshops, so only an id identifies the other's quotation.
        ids["quotation_id"] = found["id"] if whose is not twin else found["number"] or found["id"]
    if "{repricing_id}" in place.path:
        ids["repricing_id"] = ids_of(whose.client)["repricing_id"]
    return place.address(ids)


def make_ready(twin: Twin, place: Place) -> None:
    """Prepare data so that the change can succeed."""
    if place.method == "DELETE" and place.path.count("/") == _OF_A_THING and "{" not in place.path:
        twin.client.delete(f"{place.path.rpartition('/')[0]}/{SECOND}")  # it refers to the thing to be deleted
    if place.template.endswith(("/held", "/confirm")):
        hold_back_a_day(twin.client, twin.anew)


def tag_at(twin: Twin, address: str, place: Place) -> str:
    """The entity tag of the state before a change."""
    if place.path == "/v1/repricings":
        answer = twin.client.post(address, {**place.body, "apply": False})
    else:
        path, _, query = address.partition("?")
        verb = path.rpartition("/")[2] if place.method == "POST" and "{" in place.template else ""
        path = path.removesuffix(f"/{verb}") + ("/held" if verb == "confirm" else "")
        answer = twin.client.get(f"{path}?{query}" if query else path)
    tag: str = answer.headers["ETag"]
    return tag


def do(acting: Twin, watched: Twin, place: Place, *, takes_a_tag: bool) -> Done:
    """Try a change under the other's id, then with the other's entity tag, then properly."""
    make_ready(acting, place)
    before, own = stored(watched.client), stored(acting.client)
    body, address = acting.anew(place.body), address_in(acting, place, acting)
    with_its_id = with_its_tag = None
    if "{" in place.path:
        with_its_id = acting.client.request(place.method, address_in(acting, place, watched), body)
    if takes_a_tag:
        condition = {"If-Match": tag_at(watched, address_in(watched, place, watched), place)}
        with_its_tag = acting.client.request(place.method, address, body, headers=condition)
    has_begun = stored(acting.client) != own
    answer = acting.client.request(place.method, address, body)
    now = stored(acting.client)
    return Done(
        answer=answer,
        has_changed=not has_begun and now != own,
        has_made_keys=now["api_keys"] != own["api_keys"],
        left=(before, stored(watched.client)),
        with_its_id=with_its_id,
        with_its_tag=with_its_tag,
    )


def walk(watched: Twin, acting: Twin, contract: Contract, restarted: Client) -> Walk:
    """Have one twin read and change everything, and read the other's data before and after.

    Args:
        watched: the twin that only reads.
        acting: the twin that tries everything.
        contract: lists all operations.
        restarted: a client of the watched twin's workshop to a new process.
    """
    seen = Walk(watched=watched, acting=acting, revisions=(watched.revision, acting.revision))
    seen.first, seen.own = asked(watched, contract), asked(acting, contract)
    seen.knowing = asked_again(acting, seen.first)
    foreign = ids_by(watched, number=False)
    for name, place in READING.items():
        if "{" in place.path:
            seen.with_its_id[name] = acting.client.request(place.method, place.address(foreign), place.body)
    documented = {(method, template): operation for method, template, operation in operations(contract.document)}
    for name, place in CHANGING.items():
        takes = {each["name"] for each in documented[place.method, place.template]["parameters"]}
        seen.done[name] = do(acting, watched, place, takes_a_tag="If-Match" in takes)
    seen.after = asked(watched, contract)
    seen.anew = asked(replace(watched, client=restarted), contract)
    return seen
