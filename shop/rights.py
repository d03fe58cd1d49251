"""Who may do what: the one table of rights, by role."""

from typing import TYPE_CHECKING

from django.core.exceptions import PermissionDenied

if TYPE_CHECKING:
    from shop.models import Person

EVERYONE = frozenset({"owner", "technician", "counter"})
BENCH = frozenset({"owner", "technician"})
DESK = frozenset({"owner", "counter"})
OWNER = frozenset({"owner"})

RIGHTS = {
    "read": EVERYONE,
    "open_job": EVERYONE,
    "edit_intake": EVERYONE,  # also the estimate and the promise
    "take_answer": EVERYONE,  # the telephone rings at the bench too
    "edit_work": BENCH,  # findings, cleaning steps, parts, inspection
    "edit_curve": BENCH,  # head, springs, runs, target
    "move_stage": BENCH,
    "hand_back": EVERYONE,  # the last move is made at the counter; also a unit that was not repaired
    "write_off": DESK,  # to keep a unit for parts or scrap it takes its owner's word
    "sign_sheet": BENCH,
    "build_sheet": EVERYONE,
    "edit_customer": EVERYONE,
    "edit_drawer": BENCH,
    "edit_shop": OWNER,
    "edit_people": OWNER,
}


def allows(role: str, right: str) -> bool:
    """Whether a role has a right; an unknown right is a mistake in the program, not a refusal."""
    return role in RIGHTS[right]


class NotAllowed(PermissionDenied):
    """A role may not do this; any other refusal is of how things stand."""


def require(person: "Person", right: str) -> None:
    """Raise NotAllowed unless the person has the right."""
    if not person.may(right):
        raise NotAllowed(f"{person.get_role_display()} may not do this.")
