"""Photos on a card: taken in, shown to those who are logged in, taken off."""

from django.http import FileResponse, Http404
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_GET, require_POST

from jobs.card.lines import once
from jobs.models import Photo
from jobs.page.showing import load, saved, show_section, struck
from jobs.rules.guards import require_open
from jobs.teardown.photo_forms import PhotoForm
from jobs.teardown.photos import add_photo, remove_photo, restore_photo
from shop.rights import require


@require_POST
def add_photos(request, number):
    """Put each good picture on the card; the answer names those that can't be kept, and why."""
    shown = load(request, number)
    require(request.user, "edit_intake")
    require_open(shown.job)
    form = PhotoForm(request.POST, request.FILES)
    if form.is_valid():
        kept, caption = form.cleaned(), form.cleaned_data["caption"]
        once(request, lambda: [add_photo(shown.job, one, by=request.user, caption=caption) for one in kept])
        if not form.errors:
            return saved(request, number, "photos")
        form.renew()
    return show_section(request, shown, "photos", photo_form=form, status=form.status)


@require_GET
def photo(request, number, pk, size):
    """The picture itself, as JPEG and nothing else, kept by this person's browser alone."""
    require(request.user, "read")
    found = get_object_or_404(Photo, job__number=number, pk=pk, removed=False)
    file = {"large": found.image, "small": found.small}.get(size)
    if file is None:
        raise Http404(f"There is no size {size}.")
    answer = FileResponse(file.open("rb"), content_type="image/jpeg", filename=f"{number}-{pk}.jpg")
    answer["X-Content-Type-Options"] = "nosniff"
    answer["Content-Security-Policy"] = "default-src 'none'; sandbox"
    answer["Cache-Control"] = "private, max-age=31536000, immutable"
    return answer


@require_POST
def remove(request, number, pk):
    """Take a photo off the card, or with ``restore`` put it back."""
    shown = load(request, number)
    require_open(shown.job)
    found = get_object_or_404(Photo.objects.select_related("job"), job=shown.job, pk=pk)
    if "restore" in request.POST:
        restore_photo(found, by=request.user)
        return saved(request, number, "photos")
    remove_photo(found, by=request.user)
    said = f"{found} is off the card."
    return struck(request, shown, "photos", said, undo=request.path, values={"restore": "1"})
