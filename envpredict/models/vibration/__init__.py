"""Ground vibration: one module per source document; every module is imported by `models.spec.load_models`."""
