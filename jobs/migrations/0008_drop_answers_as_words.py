"""The line of words goes, once its answers are rows."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("jobs", "0007_read_answers_that_were_words")]

    operations = [migrations.RemoveField(model_name="job", name="estimate_answer")]
