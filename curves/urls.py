"""The drawer's addresses."""

urlpatterns = []
