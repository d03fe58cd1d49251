"""Amounts of money: in the shop's currency, with the tax in them, and said so wherever one is typed."""

from typing import Any, cast

from django.forms import BaseForm

from shop.forms import DecimalField
from shop.models import Shop

FRAME = "tax included"


def money(**options: Any) -> DecimalField:
    """A form field for an amount, to the cent."""
    return DecimalField(min_value=0, max_value=999999, max_digits=9, decimal_places=2, **options)


def in_currency(form: BaseForm, *names: str) -> None:
    """Name the unit of a form's amounts: the shop's currency, and that tax is in them."""
    currency = Shop.current().currency
    for name in names:
        field = cast(DecimalField, form.fields[name])
        field.unit, field.help_text = currency, FRAME
