"""Batches that were made: recorded one by one or many at once, corrected, read, deleted."""

from datetime import date

import flask
from flask.views import MethodView

from service.api.contract.blueprints import Blueprint
from service.api.contract.examples import BATCH_RECORDS, RECORDS, RECORDS_FILE
from service.api.contract.schemas import schema_of
from service.api.contract.shared_parts import CREATE_ONLY, ETAG, IF_MATCH, LINK, LOCATION, MAY_BE_REPEATED
from service.api.http.answers import answer, may_be_put, nothing
from service.api.http.auth import workshop, workspace
from service.api.http.forms import CSV, JSON
from service.api.http.operations import current, operation
from service.api.http.paging import page, position
from service.api.http.problems import ProblemError
from service.api.http.reading import Parser, body_of
from service.api.http.retries import once_if_keyed
from service.api.records.questions import (
    BatchesMade,
    BatchesMadeSchema,
    BatchRecordSchema,
    RecordedBatch,
    RecordingQuery,
    RecordsQuery,
)
from service.api.records.records_file import read_records
from service.api.registering.registered import listed, saved
from service.domain.values.errors import InvalidValueError, InvalidValuesError
from service.encoding import encoded
from service.workflows.records import recording
from service.workflows.records.recording import MAX_RECORDS, Recorded, told

blueprint = Blueprint(
    "batch-records",
    __name__,
    url_prefix="/v1/batch-records",
    description="What really happened: batches that were made, and what they took, as far as somebody counted.",
)
_PAGE = listed(BatchRecordSchema, "BatchRecords", {})
_BODY = BatchesMadeSchema()
_CSV = f"""\
JSON, or a CSV file (RFC 4180, UTF-8) with a record on a line and at most {MAX_RECORDS:,} of them. Its header names
`code`, `product`, `made_on`, `good_units`; if you like `units_started` and `note`; and what was counted:
`materials/hdpe/issued` (or `returned`, `paid`, `paid_for`), `operations/Pressing/minutes` (`setup_minutes`, `scrap`),
`labour/operator/hours` (`idle_hours`, `paid`), `electricity/grid/kwh` (`meter_begin`, `meter_end`, `paid`; one band:
`electricity/grid/day/kwh`), `overheads/consumables/paid`. An empty field was not counted; an amount may have its
currency: `12.50 GBP`.
"""


def _day_and_code(made_on: str, code: str) -> tuple[date, str]:
    return date.fromisoformat(made_on), code


@blueprint.route("")
class BatchRecords(MethodView):
    """All records."""

    @operation("listBatchRecords")
    @blueprint.arguments(schema_of(RecordsQuery)(), location="query")
    @blueprint.response(200, _PAGE, headers=LINK)
    def get(self, query: RecordsQuery) -> flask.Response:
        """Batches that were made, newest day first.

        Of all products or of one, in a period or ever.
        """
        before = position(query, _day_and_code)
        return page(
            query,
            lambda limit: recording.list_records(workspace(), query.chosen, before=before, limit=limit),
            lambda stored: [stored.record.made_on.isoformat(), stored.code],
            lambda stored: encoded(told(stored)),
        )

    @operation("recordBatches", headers=(MAY_BE_REPEATED,))
    @blueprint.doc(
        requestBody={
            "required": True,
            "description": _CSV,
            "content": {
                JSON: {"schema": BatchesMadeSchema, "example": RECORDS},
                CSV: {"schema": {"type": "string"}, "example": RECORDS_FILE},
            },
        }
    )
    @blueprint.arguments(schema_of(RecordingQuery)(), location="query")
    @blueprint.response(200, schema_of(Recorded))
    def post(self, query: RecordingQuery) -> flask.Response:
        """Record many batches at once: all of them, or none if one is wrong.

        Repeating it changes nothing. A code that is there already is corrected, as a whole, unless `correct` is false.
        """
        if current().mimetype == CSV:
            return _of_file(may_correct=query.correct)
        made: BatchesMade = Parser().parse(_BODY, location="json")
        if not made.records:
            raise InvalidValuesError([InvalidValueError(("records",), "must have a record at least")])
        records = made.coded
        return once_if_keyed(lambda joint: answer(recording.put_records(joint, records, may_correct=query.correct)))


def _of_file(*, may_correct: bool) -> flask.Response:
    if current().mimetype_params.get("charset", "utf-8").lower() != "utf-8":
        raise ProblemError(415, "unsupported-media-type", "send the file in UTF-8")
    file = read_records(body_of(current(), CSV), workshop().currency)
    try:
        return once_if_keyed(lambda joint: answer(recording.put_records(joint, file.records, may_correct=may_correct)))
    except InvalidValuesError as error:
        raise file.refusal(error) from None


@blueprint.route("/<code>")
class OneBatchRecord(MethodView):
    """One record."""

    @operation("getBatchRecord")
    @blueprint.response(200, BatchRecordSchema, headers=ETAG)
    def get(self, code: str) -> flask.Response:
        """A batch that was made.

        What was counted of it; null and empty lists are what nobody counted.
        """
        found = recording.find_record(workspace(), code)
        return answer(told(found), revision=found.revision)

    @operation("putBatchRecord", headers=(IF_MATCH, CREATE_ONLY), added={"code": "{code}"})
    @blueprint.arguments(BatchRecordSchema(), examples=BATCH_RECORDS)
    @blueprint.response(200, BatchRecordSchema, headers=ETAG, description="Corrected, or unchanged.")
    @blueprint.alt_response(201, schema=BatchRecordSchema, headers={**ETAG, **LOCATION}, description="Recorded.")
    def put(self, made: RecordedBatch, code: str) -> flask.Response:
        """Record a batch that was made, or correct its record; repeating it changes nothing.

        It is compared with the facts and rates of its day, which are kept with it. A correction keeps them, unless it
        is of another product or day; to compare a batch anew, delete its record and record it again. What was recorded
        before stays in the audit trail.
        """
        return saved(recording.put_record(workspace(), code, made.record, may_be_put))

    @operation("deleteBatchRecord", headers=(IF_MATCH,))
    @blueprint.response(204)
    def delete(self, code: str) -> flask.Response:
        """Delete the record of a batch that was never made.

        What it was stays in the audit trail. The example is what the last example of PUT records.
        """
        recording.delete_record(workspace(), code, may_be_put)
        return nothing()
