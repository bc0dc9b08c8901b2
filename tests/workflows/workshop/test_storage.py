"""What a workshop stores is counted as it is written, and can be counted from scratch."""

from service.store.engine.metering import ROW_BYTES
from service.workflows.workshop import storage
from tests.support.builders import material
from tests.workflows.owner import Owner


def test_what_is_counted_as_it_is_written_is_what_is_there(furnished: Owner) -> None:
    furnished.accepted()
    counted = storage.storage_in_use(furnished.database)[furnished.workshop_id]

    found = storage.recount(furnished.database, furnished.workshop_id)

    assert counted.rows == sum(each.rows for each in found.values())
    assert counted.size_bytes == sum(each.size_bytes for each in found.values())
    assert found["quotations"].rows == 1
    assert storage.storage_in_use(furnished.database)[furnished.workshop_id] == counted


def test_a_text_counts_for_its_bytes_and_a_row_for_something_more(furnished: Owner) -> None:
    def stored() -> int:
        return storage.recount(furnished.database, furnished.workshop_id)["registrations"].size_bytes

    before = stored()
    furnished.put("materials/one", material(name="Flakes"))
    between = stored()
    furnished.put("materials/one", material(name="Flöckche"))

    assert between > before + ROW_BYTES
    assert stored() == between + len("Flöckche".encode()) - len("Flakes")
