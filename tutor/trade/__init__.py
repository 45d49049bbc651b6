"""Knowledge of the trade that knows no exercise: tables, modules, sites, strings."""
