"""The addresses of jobs.curvework: noun, identifier, noun; a route is named as its view."""

from django.urls import path

from jobs.curvework import bench, curve, sweeps, target, trials

urlpatterns = [
    path("jobs/<int:number>/runs/new/", curve.run_new, name="run_new"),
    path("jobs/<int:number>/runs/draw/", curve.run_draw, name="run_draw"),
    path("jobs/<int:number>/runs/<int:run>/", curve.run, name="run"),
    path("jobs/<int:number>/runs/<int:run>/remove/", curve.run_remove, name="run_remove"),
    path("jobs/<int:number>/bench/", bench.bench, name="bench"),
    path("jobs/<int:number>/runs/<int:run>/readings/", bench.readings, name="readings"),
    path("jobs/<int:number>/runs/<int:run>/readings/<uuid:key>/", bench.reading, name="reading"),
    path("jobs/<int:number>/sweeps/", sweeps.sweeps_of_job, name="job_sweeps"),
    path("jobs/<int:number>/sweeps/new/", sweeps.sweep_new, name="sweep_new"),
    path("jobs/<int:number>/sweeps/<int:sweep>/", sweeps.sweep, name="sweep"),
    path("jobs/<int:number>/sweeps/<int:sweep>/remove/", sweeps.sweep_remove, name="sweep_remove"),
    path("jobs/<int:number>/responses/", sweeps.responses_of_job, name="job_responses"),
    path("jobs/<int:number>/responses/new/", sweeps.response_new, name="response_new"),
    path("jobs/<int:number>/responses/<int:response>/", sweeps.response, name="response"),
    path(
        "jobs/<int:number>/responses/<int:response>/remove/",
        sweeps.response_remove,
        name="response_remove",
    ),
    path("jobs/<int:number>/target/", target.target, name="target"),
    path("jobs/<int:number>/target/check/", target.target_check, name="target_check"),
    path("jobs/<int:number>/head/", curve.head, name="head"),
    path("jobs/<int:number>/head/travel/", curve.head_travel, name="head_travel"),
    path("jobs/<int:number>/trials/", trials.trials_of_job, name="trials"),
    path("jobs/<int:number>/trials/fit/", trials.fit_pair, name="fit_pair"),
    path("jobs/<int:number>/curve.csv", curve.curve_csv, name="curve_csv"),
]
