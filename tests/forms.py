"""The forms on a page as a browser would see them: what they send, and what is said beside a field."""

from dataclasses import dataclass, field
from html.parser import HTMLParser


@dataclass
class Control:
    """One input, select or textarea: its attributes, and what it would send."""

    name: str
    attrs: dict
    value: str = ""

    @property
    def is_number(self):
        return self.attrs.get("inputmode") in ("decimal", "numeric")

    @property
    def is_date(self):
        return self.attrs.get("type") == "date"


@dataclass
class FormOnPage:
    """One form: its address and its controls by name; a ticked or chosen one stands for its group."""

    action: str
    method: str
    controls: dict = field(default_factory=dict)

    @property
    def sends(self):
        return {name: control.value for name, control in self.controls.items() if control.value}


class Page(HTMLParser):
    """A page taken apart: its forms, and the text of every element with an id."""

    def __init__(self, html):
        super().__init__()
        self.forms, self.texts = [], {}
        self._form = self._select = self._textarea = None
        self._open = []  # ids of the elements one is inside of, with their tags
        self.feed(html)

    def form(self, action):
        """The form that goes to this address."""
        return next(form for form in self.forms if form.action == action)

    def handle_starttag(self, tag, attrs):
        attrs = dict(attrs)
        if tag not in ("input", "link", "meta", "img", "br", "hr", "wbr"):
            self._open.append((tag, attrs.get("id")))
            if attrs.get("id"):
                self.texts[attrs["id"]] = ""
        if tag == "form":
            self._form = FormOnPage(attrs.get("action", ""), attrs.get("method", "get"))
            self.forms.append(self._form)
        elif tag == "option":
            if self._select and "selected" in attrs:
                self._select.value = attrs.get("value", "")
        elif self._form and attrs.get("name") and tag in ("input", "select", "textarea"):
            self._control(tag, attrs)

    def _control(self, tag, attrs):
        if attrs.get("type") in ("checkbox", "radio") and "checked" not in attrs:
            return
        control = Control(attrs["name"], attrs, attrs.get("value") or "")
        self._form.controls[control.name] = control
        self._select = control if tag == "select" else None
        self._textarea = control if tag == "textarea" else None

    def handle_endtag(self, tag):
        while self._open and self._open.pop()[0] != tag:
            pass
        if tag == "form":
            self._form = None
        elif tag == "select":
            self._select = None
        elif tag == "textarea" and self._textarea:
            self._textarea.value = self._textarea.value.removeprefix("\n").replace("\r\n", "\n")
            self._textarea = None

    def handle_data(self, data):
        if self._textarea:
            self._textarea.value += data
        for _, name in self._open:
            if name:
                self.texts[name] += data
