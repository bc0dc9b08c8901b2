"""The service never fetches an address that a client has sent (OWASP API Security Top 10, 2023, API7)."""

import flask

from service.api.http.forms import HTML, IMAGES, PDF, XML
from tests.api.twins import Twin, altered_by, asked, furnish
from tests.conftest import make_client
from tests.support.contract import Contract
from tests.support.feed import FeedServer


def test_no_document_and_no_picture_fetches_an_address_in_a_name(
    app: flask.Flask, contract: Contract, feed_server: FeedServer
) -> None:
    bait = f"{feed_server.url}bait"
    mark = f'<img src="{bait}"> #image("{bait}") ![]({bait}) url({bait})'
    altered = altered_by(mark, "1.012")
    twin = Twin(client=make_client(app, contract, name=f"Workshop {mark}"), mark=mark, altered=altered, anew=altered)
    furnish(twin, feed_server)

    answers = {key: answer for key, answer in asked(twin, contract).items() if key[2] in {HTML, PDF, XML, *IMAGES}}

    assert len(answers) > 15
    assert {answer.status_code for answer in answers.values()} == {200}
    assert [path for path, _ in feed_server.requests if "bait" in path] == []
    assert feed_server.requests  # so the server does record requests
