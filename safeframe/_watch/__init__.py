"""Looking on while frames arrive: changes as lines, all signals as a table, conditions awaited."""
