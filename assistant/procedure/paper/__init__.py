"""What is printed or told of a plan before it runs: sheet, kit, forecast, and what changed since an approval."""
