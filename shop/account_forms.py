"""The forms at the door: logging in, and setting a password."""

from django.contrib.auth import forms as auth

from shop.forms import SharedForm

PASSWORD_RULES = "8 characters or more; not only digits, no common password, nothing like the name."


class LoginForm(SharedForm, auth.AuthenticationForm):
    error_messages = {
        "invalid_login": "Name and password don't go together. Check both; capitals count.",
        "inactive": "Name and password don't go together. Check both; capitals count.",
    }

    def __init__(self, *args, **options):
        super().__init__(*args, **options)
        self.fields["username"].label = "Login name"


class _NewPassword(SharedForm):
    """A password typed twice, with the rules said once."""

    def __init__(self, *args, **options):
        super().__init__(*args, **options)
        self.fields["new_password1"].help_text = PASSWORD_RULES
        self.fields["new_password2"].label = "New password again"
        self.fields["new_password2"].help_text = ""


class PasswordForm(_NewPassword, auth.PasswordChangeForm):
    """Someone changes their own password, knowing the old one."""

    error_messages = {
        "password_mismatch": "The two differ: type the same password twice.",
        "password_incorrect": "Not your present password: type it again.",
    }

    def __init__(self, *args, **options):
        super().__init__(*args, **options)
        self.fields["old_password"].label = "Present password"


class GivenPasswordForm(_NewPassword, auth.SetPasswordForm):
    """The owner sets someone's password."""

    error_messages = {"password_mismatch": "The two differ: type the same password twice."}
