"""A page as a browser with htmx holds it, without one: it asks, puts answers in their places, and is read.

Only what the shop's pages use of htmx is here: hx-get, hx-post, hx-target, hx-swap, hx-include, out-of-band
parts, and the triggers "load" and "written".
"""

import re
from urllib.parse import urldefrag

import tinyhtml5

FIELDS = ("input", "select", "textarea", "button")
# What is gone after the next load by design: that something was saved just now, and what was done.
PASSING = re.compile(r"\bnote\b")


class LivePage:
    def __init__(self, client, address):
        self.client, self.address = client, urldefrag(address).url
        answer = client.get(self.address)
        assert answer.status_code == 200, self.address
        self.root = parse(answer.content.decode())
        for element in self.with_trigger("load"):
            self.ask(element)

    def with_trigger(self, word):
        return [one for one in self.root.iter() if word in one.get("hx-trigger", "").split(" from")[0]]

    def find(self, name):
        return next((one for one in self.root.iter() if one.get("id") == name), None)

    def ask(self, element):
        """Follow an hx-get."""
        address = element.get("hx-get")
        answer = self.client.get(address, headers=self._headers(element))
        assert answer.status_code == 200, address
        self._take(element, answer)

    def send(self, element, values, status=200):
        """Send an hx-post with these values, as htmx does when the form is submitted."""
        answer = self.client.post(element.get("hx-post"), values, headers=self._headers(element))
        assert answer.status_code == status, (element.get("hx-post"), answer.content.decode()[:2000])
        if "HX-Redirect" in answer:
            self.__init__(self.client, answer["HX-Redirect"])
            return
        self._take(element, answer)
        if "written" in answer.get("HX-Trigger-After-Settle", ""):
            for one in self.with_trigger("written"):
                self.ask(one)

    def texts(self):
        """All that is read on the page, piece by piece, without what passes with the next load."""
        return list(_said(next(self.root.iter("main"))))

    def _headers(self, element):
        target = self._target(element)
        parts = [one for one in self.root.iter() if one.get("data-stands") and not is_open(one)]
        told = [f"{one.get('id')}={one.get('data-stands')}" for one in parts]
        headers = {"HX-Request": "true", "HX-Current-URL": f"http://testserver{self.address}"}
        if target.get("id"):
            headers["HX-Target"] = target.get("id")
        return headers | ({"Live-Parts": " ".join(told)} if told else {})

    def _target(self, element):
        name = element.get("hx-target", "this")
        return element if name == "this" else self.find(name.removeprefix("#"))

    def _take(self, element, answer):
        target, swap = self._target(element), element.get("hx-swap", "innerHTML")
        body = parse(f"<body>{answer.content.decode()}</body>").find("body")
        main = [one for one in body if not one.get("hx-swap-oob") and one.tag != "title"]
        for part in [one for one in body if one.get("hx-swap-oob")]:
            stood = self.find(part.get("id"))
            assert stood is not None, f"{part.get('id')} is not on the page"
            part.attrib.pop("hx-swap-oob")
            self._replace(stood, [part])
        if swap == "innerHTML":
            target[:] = main
            target.text = body.text
        else:
            self._replace(target, main)

    def _replace(self, stood, new):
        parent = next((one for one in self.root.iter() if stood in list(one)), None)
        if parent is None:
            return  # it went with what an earlier part replaced
        place = list(parent).index(stood)
        if new:
            new[-1].tail = stood.tail
        parent[place : place + 1] = new


def is_open(part):
    """Whether a form is open in it, as static/js/live.js sees it."""
    folds = [one for one in part.iter("details") if "fold" in one.get("class", "").split()]
    folded = {form for fold in folds for form in fold.iter("form")}
    return any(form.get("data-keep") is not None and form not in folded for form in part.iter("form"))


def parse(text):
    return tinyhtml5.parse(text, namespace_html_elements=False)


def values_of(form, answers):
    """What a form sends: what stands in it, ``answers`` by the end of a field's name, and something typed."""
    values = {}
    for field in form.iter():
        name, kind = field.get("name"), field.get("type", "text")
        if field.tag not in FIELDS or not name or kind in ("submit", "file"):
            continue
        plain = name.rsplit("-", 1)[-1]
        if field.tag == "button":  # the first one is the form's own
            values.setdefault(name, field.get("value", ""))
        elif kind == "hidden":
            values[name] = field.get("value", "")
        elif plain in answers:
            values[name] = answers[plain]
        elif field.tag == "select":
            values[name] = [one.get("value", "") for one in field.iter("option")][-1]
        elif kind in ("checkbox", "radio"):
            continue
        else:
            values[name] = field.get("value") or (field.text or "").strip()
    pressed = [button for button in form.iter("button") if button.get("name")]
    return values | {button.get("name"): button.get("value", "") for button in pressed[:1]}


def _said(element):
    if element.tag in ("script", "style", "svg") or element.get("data-state") == "saved":
        return
    if PASSING.search(element.get("class", "")):
        return
    if element.text and element.text.strip():
        yield " ".join(element.text.split())
    for one in element:
        yield from _said(one)
        if one.tail and one.tail.strip():
            yield " ".join(one.tail.split())
