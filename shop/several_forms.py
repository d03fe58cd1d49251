"""Several forms on one page that are sent, checked and shown as one."""

from itertools import chain


class Several:
    """Forms under one summary: valid when all are; it lists the errors and fields of each in order."""

    current = None  # what makes new rows meets no one else's

    def __init__(self, *forms):
        self.forms = forms

    def is_valid(self):
        judged = [form.is_valid() for form in self.forms]  # each one, so that all errors show at once
        return all(judged)

    @property
    def errors(self):
        return [error for form in self.forms for errors in form.errors.values() for error in errors]

    @property
    def status(self):
        return max(form.status for form in self.forms)

    def non_field_errors(self):
        return list(chain.from_iterable(form.non_field_errors() for form in self.forms))

    def visible_fields(self):
        return list(chain.from_iterable(form.visible_fields() for form in self.forms))

    def hidden_fields(self):
        return list(chain.from_iterable(form.hidden_fields() for form in self.forms))
