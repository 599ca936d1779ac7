"""Published equations as pure functions on arrays, each declared beside itself. Imports core alone."""
