"""Addresses of this feature."""

from django.urls import path

from routeapp.settlements import views, views_accounts, views_papers, views_statement

urlpatterns = [
    path("settlements/", views.settlements, name="settlements"),
    path("settlements/due/", views.due, name="settlements-due"),
    path("settlements/before/", views.before, name="settled-before"),
    path("settlements/due/<int:pk>/<str:since>/", views.draft, name="settlement-draft"),
    path("settlements/due/<int:pk>/<str:since>/money/", views_papers.draft_facts, name="settlement-draft-facts"),
    path("settlements/runs/", views.run_start, name="settlement-run-start"),
    path("settlements/runs/<uuid:uuid>/", views.run, name="settlement-run"),
    path("settlements/<int:pk>/", views_papers.settlement, name="settlement"),
    path("settlements/<int:pk>/pdf/", views_papers.settlement_pdf, name="settlement-pdf"),
    path("settlements/<int:pk>/void/", views_papers.void, name="settlement-void"),
    path("settlements/<int:pk>/send/", views_papers.send, name="settlement-send"),
    path("settlements/<int:pk>/lines/<int:place>/", views_papers.line, name="settlement-line"),
    path("settlements/owed/", views_accounts.accounts, name="hosts-owed"),
    path("settlements/payments/<int:pk>/withdraw/", views_accounts.payment_withdraw, name="payment-withdraw"),
    path("locations/<int:pk>/account/", views_accounts.account, name="location-account"),
    path("locations/hosts/<int:pk>/account/", views_accounts.host_account, name="host-account"),
    path("locations/hosts/<int:pk>/statement/open/", views_accounts.statement_open, name="statement-open"),
    path("locations/hosts/<int:pk>/statement/close/", views_accounts.statement_close, name="statement-close"),
    path("statement/<str:code>/", views_statement.statement, name="statement"),
    path("statement/<str:code>/<int:number>/", views_statement.statement_paper, name="statement-paper"),
    path("statement/<str:code>/<int:number>/pdf/", views_statement.statement_pdf, name="statement-pdf"),
]
