"""What tests take for the words of a page is what a browser shows of it."""

import pytest

from tests.reading import markup, words

pytestmark = pytest.mark.any_database


@pytest.mark.parametrize(
    ("html", "read"),
    [
        ("<p>\n  Post gap\n  (<b>5</b>),\n  primary\n</p>\n<p>Next</p>", "Post gap (5), primary Next"),
        ("<td>1</td><td>2</td>", "1 2"),
        ("<b>late</b>\n, 3 waiting", "late , 3 waiting"),
        ("<b>late</b>, 3 waiting", "late, 3 waiting"),
        ("a<br>b <i>c</i>d", "a b cd"),
        ("<style>p { }</style><script>1 < 2</script><!-- no -->Ember &amp; Stroud", "Ember & Stroud"),
    ],
)
def test_words_are_parted_where_a_reader_sees_them_parted(html, read):
    assert words(html) == read


def test_markup_keeps_the_white_space_that_is_seen_and_no_other():
    html = '<td\n  class="num"\n>\n  5 <b>deg</b>\n  in\n</td>\n<td>6</td>'
    assert markup(html) == '<td class="num">5 <b>deg</b> in</td><td>6</td>'
