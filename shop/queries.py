"""Reads of the shop's own records."""

from functools import reduce
from operator import and_

from django.db.models import Q, QuerySet

from shop.models import Customer

_SEARCHED = ("name", "company", "phone", "email", "address")


def customers_matching(text: str) -> QuerySet[Customer]:
    """Customers in whose name, company, phone, email or address every word of the text stands."""
    return Customer.objects.filter(reduce(and_, map(_somewhere, text.split()), Q()))


def _somewhere(word: str) -> Q:
    return reduce(lambda found, field: found | Q(**{f"{field}__icontains": word}), _SEARCHED, Q())
