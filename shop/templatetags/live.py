"""``{% live "rail" tag="ol" class="rail" %}…{% endlive %}``: a part that follows every write on its page."""

from django import template
from django.template.base import token_kwargs
from django.utils.html import format_html, format_html_join
from django.utils.safestring import mark_safe

from shop import live

register = template.Library()


@register.tag("live")
def do_live(parser, token):
    """The name becomes the element's id; ``tag`` its name, ``div`` by itself; the rest its attributes."""
    _, name, *said = token.split_contents()
    attributes = token_kwargs(said, parser)
    content = parser.parse(("endlive",))
    parser.delete_first_token()
    return LiveNode(parser.compile_filter(name), attributes, content)


class LiveNode(template.Node):
    def __init__(self, name, attributes, nodelist):
        self.name, self.attributes, self.nodelist = name, attributes, nodelist

    def render(self, context):
        name = str(self.name.resolve(context))
        said = {key.replace("_", "-"): value.resolve(context) for key, value in self.attributes.items()}
        tag, met = said.pop("tag", "div"), context.get(live.COLLECTOR)
        if met:
            met.enter(name)
        content = mark_safe(self.nodelist.render(context))
        attributes = format_html_join("", ' {}="{}"', ((key, value) for key, value in said.items() if value))
        stands = live.standing(f"{attributes}{content}")
        html = format_html(
            '<{0} id="{1}"{2} data-stands="{3}">{4}</{0}>', tag, name, attributes, stands, content
        )
        if met:
            met.leave(stands, html)
        return html
