"""The form that takes photos: several at once, from a phone or a folder."""

from django import forms

from jobs.teardown.pictures import clean_photo
from shop.forms import Form
from shop.idempotency import OnceField
from shop.models import new_key

# By name too: many a browser has no type for the pictures that its own phone takes.
ACCEPT = "image/jpeg,image/png,image/webp,image/heic,image/heif,.heic,.heif"
MAX_AT_ONCE = 20


class _ManyInput(forms.ClearableFileInput):
    allow_multiple_selected = True


class _ManyFiles(forms.FileField):
    """A list of files; each is judged by ``jobs.teardown.pictures`` when it is put on the card."""

    widget = _ManyInput(attrs={"accept": ACCEPT, "multiple": True})

    def clean(self, data, initial=None):
        files = data if isinstance(data, (list, tuple)) and data else [data or None]
        if len(files) > MAX_AT_ONCE:
            raise forms.ValidationError(f"At most {MAX_AT_ONCE} photos at once: send the rest after these.")
        return [self._one(file, initial) for file in files if file is not None or self.required]

    def _one(self, file, initial):
        try:
            return super().clean(file, initial)
        except forms.ValidationError as error:
            if file is None:
                raise
            said = " ".join(error.messages)
            raise forms.ValidationError(f"{file.name}: {said}") from None


def chosen(files):
    """The names of the photos that a browser sent."""
    return [file.name for file in files.getlist("photos")] if files else []


def choose_again(names, *, other=False):
    """What to say of photos that were sent with a refused form: no page can put files back into its field."""
    if not names:
        return ""
    which = "photo" if len(names) == 1 else f"{len(names)} photos"
    return f"Choose the {'other ' if other else ''}{which} again, a browser keeps none: {', '.join(names)}."


class _TakesPhotos(Form):
    """A valid one is cleaned before anything is written: to decode pictures takes seconds."""

    def cleaned(self):
        """The pictures as they can be kept; each that can't leaves an error beside the field."""
        kept, self.bad = [], []
        for upload in self.cleaned_data["photos"]:
            try:
                kept.append(clean_photo(upload))
            except forms.ValidationError as error:
                self.bad.append(upload.name)
                self.add_error("photos", error)
        return kept


class PhotoForm(_TakesPhotos):
    photos = _ManyFiles(label="Photos")
    caption = forms.CharField(label="What they show", max_length=120, required=False)
    once = OnceField()

    def __init__(self, *args, **options):
        super().__init__(*args, **options)
        self.fields["photos"].error_messages["required"] = "No photo chosen: take or pick one."

    def renew(self):
        """A new one-time key, for the pictures that are sent in place of those that were refused."""
        self.data = self.data.copy()
        self.data["once"] = new_key()


class IntakePhotosForm(_TakesPhotos):
    """Photos at intake, where none is needed."""

    photos = _ManyFiles(label="Photos", required=False)

    def ask_again(self):
        """Say beside the field of a refused page which photos to choose again."""
        names = chosen(self.files)
        good = [name for name in names if name not in getattr(self, "bad", [])]
        if good:
            self.add_error("photos", choose_again(good, other=len(good) < len(names)))
