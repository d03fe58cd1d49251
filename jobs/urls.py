"""The card's addresses: noun, identifier, noun; a route is named as its view."""

urlpatterns = []
