"""The probe's front end as built: each copy with its own tolerances, noise and faults."""
