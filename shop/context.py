"""What every template knows: whose shop this is, the chosen theme, where the person may go, what was done."""

from django.utils.functional import SimpleLazyObject

from shop import notes
from shop.models import Shop

THEMES = ("light", "dark")
# Route name, words, right; in the order of a working day.
MENU = (
    ("board", "Board", "read"),
    ("new_job", "New job", "open_job"),
    ("search", "Search", "read"),
    ("drawer", "Drawer", "read"),
    ("practice", "Practice", "read"),
    ("customers", "Customers", "read"),
    ("people", "Shop & people", "edit_people"),
)


def shop(request):
    theme = request.COOKIES.get("theme")
    return {
        "shop": SimpleLazyObject(Shop.current),
        "theme": theme if theme in THEMES else "",
        "menu": [(name, words) for name, words, right in MENU if _may(request, right)],
        "notes": notes.pending(request),
    }


def _may(request, right):
    user = getattr(request, "user", None)
    return user is not None and user.is_authenticated and user.may(right)
