"""The door: log in, log out, change the password, choose light or dark."""

from django.contrib.auth import views as auth
from django.contrib.auth.decorators import login_not_required
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils.decorators import method_decorator
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from shop import notes
from shop.account_forms import LoginForm, PasswordForm
from shop.context import THEMES

YEAR_S = 31_536_000


@method_decorator(login_not_required, name="dispatch")
class Login(auth.LoginView):
    template_name = "shop/login.html"
    authentication_form = LoginForm
    redirect_authenticated_user = True

    def dispatch(self, request, *args, **options):
        # A page whose session has ended asks here in the background; a login form in its place
        # would lose what was typed.
        if request.htmx and not request.htmx.boosted:
            return HttpResponse(
                "<p data-cause>You are logged out. Load the page again and log in: "
                "what you typed is kept on this device and comes back with its form.</p>",
                status=401,
            )
        return super().dispatch(request, *args, **options)

    def form_invalid(self, form):
        return self.render_to_response(self.get_context_data(form=form), status=422)


class Password(auth.PasswordChangeView):
    template_name = "shop/password.html"
    form_class = PasswordForm
    success_url = "/"

    def form_valid(self, form):
        notes.leave(self.request, "Your password is changed.")
        return super().form_valid(form)

    def form_invalid(self, form):
        return self.render_to_response(self.get_context_data(form=form), status=422)


@login_not_required
@require_POST
def theme(request):
    """Keep the choice of light or dark in a cookie; an empty one goes with the device."""
    chosen = request.POST.get("theme", "")
    back = request.POST.get("next", "/")
    safe = url_has_allowed_host_and_scheme(back, {request.get_host()}, request.is_secure())
    answer = redirect(back if safe else "/")
    if chosen in THEMES:
        answer.set_cookie("theme", chosen, max_age=YEAR_S, samesite="Lax", secure=request.is_secure())
    else:
        answer.delete_cookie("theme", samesite="Lax")
    return answer
