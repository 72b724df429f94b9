"""Addresses of rounds, who drives them, and their calendars."""

from django.urls import path

from routeapp.planning import views_calendar, views_crew, views_plan, views_road, views_rounds

urlpatterns = [
    path("rounds/", views_rounds.rounds, name="rounds"),
    path("rounds/next/", views_rounds.round_next, name="round-next"),
    path("rounds/plan/", views_plan.plan_start, name="plan-start"),
    path("rounds/plan/<uuid:uuid>/", views_plan.plan, name="plan"),
    path("rounds/plan/<uuid:uuid>/use/", views_plan.plan_use, name="plan-use"),
    path("rounds/crew/", views_crew.crew_list, name="crew"),
    path("rounds/crew/<int:pk>/", views_crew.crew_edit, name="crew-edit"),
    path("rounds/vehicles/add/", views_crew.vehicle_add, name="vehicle-add"),
    path("rounds/vehicles/<int:pk>/", views_crew.vehicle_edit, name="vehicle-edit"),
    path("rounds/pins/", views_crew.pins, name="pins"),
    path("rounds/pins/<int:pk>/lift/", views_crew.pin_lift, name="pin-lift"),
    path("rounds/<uuid:uuid>/", views_rounds.round_page, name="round"),
    path("rounds/<uuid:uuid>/change/", views_rounds.round_change, name="round-change"),
    path("rounds/<uuid:uuid>/replan/", views_rounds.round_replan, name="round-replan"),
    path("rounds/<uuid:uuid>/drop/", views_rounds.round_drop, name="round-drop"),
    path("rounds/<uuid:uuid>/sheet/", views_rounds.round_sheet, name="round-sheet"),
    path("rounds/<uuid:uuid>/load/", views_road.round_load, name="round-load"),
    path("rounds/<uuid:uuid>/load/tick/", views_road.round_tick, name="round-tick"),
    path("rounds/<uuid:uuid>/skip/<int:pk>/", views_road.round_skip, name="round-skip"),
    path("rounds/<uuid:uuid>/skip/<int:pk>/undo/", views_road.round_unskip, name="round-unskip"),
    path("rounds/<uuid:uuid>/end/", views_road.round_end, name="round-end"),
    path("sync/rounds/<uuid:uuid>/", views_road.sync_round, name="sync-round"),
    path("sync/road/", views_road.sync_road, name="sync-road"),
    path("calendar/", views_calendar.calendar, name="calendar"),
    path("calendar/<int:pk>/make/", views_calendar.calendar_make, name="calendar-make"),
    path("calendar/<int:pk>/revoke/", views_calendar.calendar_revoke, name="calendar-revoke"),
    path("calendar/<str:token>.ics", views_calendar.calendar_feed, name="calendar-feed"),
]
