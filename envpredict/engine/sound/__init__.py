"""Sound from every item of plant to every point: scene, paths, fields."""
