"""What every template knows: whose shop this is, the chosen theme, where the person may go, what was done."""

from django.conf import settings
from django.utils.functional import SimpleLazyObject

from shop import notes
from shop.models import Shop

THEMES = ("light", "dark")


def shop(request):
    theme = request.COOKIES.get("theme")
    return {
        "shop": SimpleLazyObject(Shop.current),
        "theme": theme if theme in THEMES else "",
        "menu": [(name, words) for name, words, right in settings.MENU if _may(request, right)],
        "search_route": settings.SEARCH_ROUTE,
        "top_mark": settings.TOP_MARK,
        "notes": notes.pending(request),
    }


def _may(request, right):
    user = getattr(request, "user", None)
    return user is not None and user.is_authenticated and user.may(right)
