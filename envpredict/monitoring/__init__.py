"""What is measured: the monitoring plan, its audit, the records and the site law fitted to them."""
