"""The board: every open card under its stage."""

from django.views.decorators.http import require_GET

from jobs import queries
from shop.pages import page


@require_GET
def board(request):
    shown = queries.board(request.user, request.GET.get("show", ""))
    return page(
        request,
        "jobs/card/board.html",
        {"board": shown, "may": {"open_job": request.user.may("open_job")}},
        fragment="jobs/card/_board.html",
    )
