"""What pages draw by Python: a form's field, and what is the same for everybody."""

from __future__ import annotations

from typing import Any

from django import template
from django.template.base import FilterExpression, NodeList, Parser, Token, token_kwargs
from django.template.loader_tags import BlockNode
from django.utils.safestring import SafeString
from django.utils.translation import get_language

from club.core.drawing import field_html

register = template.Library()


@register.simple_tag(takes_context=True)
def draw_field(context: template.Context) -> SafeString:
    """In crispy's place for a field's template, with what crispy gives it."""
    return field_html(context["field"], context)  # type: ignore[arg-type]  # a context is read like a mapping


class DrawnOnce(template.Node):
    """Keeps what it drew for each language and each value that it was given.

    Nothing else of the page's context is there inside: what is kept cannot hold anything of whoever asked first.
    """

    def __init__(self, nodelist: NodeList, given: dict[str, FilterExpression]) -> None:
        self.nodelist, self.given = nodelist, given
        self._kept: dict[tuple[Any, ...], SafeString] = {}

    def render(self, context: template.Context) -> SafeString:
        values = {name: expression.resolve(context) for name, expression in self.given.items()}
        key = (get_language(), *values.values())
        if key not in self._kept:
            inside = template.Context(values)
            assert context.template  # a node is drawn as part of one
            with inside.bind_template(context.template):
                self._kept[key] = self.nodelist.render(inside)
        return self._kept[key]


@register.tag
def once(parser: Parser, token: Token) -> DrawnOnce:
    """`{% once %}...{% endonce %}`, or `{% once name=value %}` with what is used inside: of few values each, such as
    a setting or a yes or no.
    """
    bits = token.split_contents()[1:]
    given = token_kwargs(bits, parser)
    nodelist = parser.parse(("endonce",))
    parser.delete_first_token()
    if bits or nodelist.get_nodes_by_type(BlockNode):
        raise template.TemplateSyntaxError(
            "`once` takes name=value, and no block may lie in it: it would not be filled."
        )
    return DrawnOnce(nodelist, given)
