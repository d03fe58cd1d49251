"""What changes the shop's own records; each asks for the right and says in the log who did it."""

import logging
from collections.abc import Generator
from contextlib import contextmanager

from django.contrib.auth.forms import SetPasswordForm
from django.db import transaction

from shop.forms import ModelForm, VersionedForm
from shop.models import Customer, Person, Role
from shop.rights import require
from shop.versions import save_versioned

log = logging.getLogger(__name__)

# What the floors above do after a customer was changed, each taking the customer; this floor can't name them.
after_customer_edit = []


class LastOwner(Exception):
    """The shop would be left without an owner who can log in."""

    def __init__(self) -> None:
        super().__init__("The shop's only owner: make someone else an owner first.")


def add_customer(form: ModelForm, *, by: Person) -> Customer:
    """The new customer of a valid form."""
    require(by, "edit_customer")
    return form.save()


@transaction.atomic
def edit_customer(form: VersionedForm, *, by: Person) -> bool:
    """Save a valid form; False when someone else saved first."""
    require(by, "edit_customer")
    stored = form.store()
    if stored:
        for tell in after_customer_edit:
            tell(form.instance)
    return stored


def edit_shop(form: VersionedForm, *, by: Person) -> bool:
    """Save the profile; False when someone else saved first."""
    require(by, "edit_shop")
    stored = form.store()
    if stored:
        log.info("%s changed the shop's profile", by)
    return stored


def add_person(form: ModelForm, *, by: Person) -> Person:
    """The new person of a valid form, able to log in with the password given there."""
    require(by, "edit_people")
    person = form.save(commit=False)
    person.set_password(form.cleaned_data["password1"])
    person.save()
    log.info("%s added %s as %s", by, person.username, person.role)
    return person


def edit_person(form: VersionedForm, *, by: Person) -> bool:
    """Save name, login name and role; False when someone else saved first."""
    require(by, "edit_people")
    with _keeping_an_owner():
        stored = form.store()
    if stored:
        log.info("%s changed %s, now %s", by, form.instance.username, form.instance.role)
    return stored


def set_active(person: Person, *, active: bool, version: int, by: Person) -> None:
    """Let someone log in, or no longer; what they did stays under their name."""
    require(by, "edit_people")
    person.is_active = active
    with _keeping_an_owner():
        save_versioned(person, version, ["is_active"])
    log.info("%s switched %s %s", by, person.username, "on" if active else "off")


def give_password(form: SetPasswordForm, *, by: Person) -> None:
    """Set someone's password from a valid form."""
    require(by, "edit_people")
    person = form.save(commit=False)
    person.save(update_fields=["password"])
    log.info("%s gave %s a new password", by, person.username)


@contextmanager
def _keeping_an_owner() -> Generator[None]:
    """Take the work inside back if it leaves no active owner; owners are locked meanwhile, in one order."""
    with transaction.atomic():
        owners = Person.objects.filter(role=Role.OWNER)
        list(owners.select_for_update().order_by("pk"))
        yield
        if not owners.filter(is_active=True).exists():
            raise LastOwner
