"""Which locales are valid."""

import pytest
from babel import localedata

from service.domain.values.declared import declared
from service.domain.values.errors import InvalidValuesError
from service.domain.values.forms import LocaleCode


@declared
class Shop:
    """A shop with a locale.

    Attributes:
        locale: its locale.
    """

    locale: LocaleCode


@pytest.mark.parametrize("locale", ["en", "en_IE", "zh_TW", "sr_RS", "sr_Latn_RS", "ca_ES_VALENCIA", "en_001"])
def test_a_locale_of_cldr_is_accepted_and_so_are_its_aliases(locale: str) -> None:
    assert Shop(locale=locale).locale == locale


def test_every_locale_of_cldr_is_accepted() -> None:
    locales = localedata.locale_identifiers()

    assert len(locales) > 1000
    assert {Shop(locale=each).locale for each in locales} == set(locales)


@pytest.mark.parametrize(
    "locale",
    [
        "",
        "e",
        "tlh_QQ",
        "en-IE",
        "en_IE\n",
        "en_IE_euro",
        "../en",
        "en_IE.UTF-8",
        "e\u0301n",
        "en_" + "x" * 40,
        "en__IE",
    ],
)
def test_anything_else_is_refused(locale: str) -> None:
    with pytest.raises(InvalidValuesError, match="locale: must "):
        Shop(locale=locale)
