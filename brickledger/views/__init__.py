"""Pages that concern the site itself: tokens of programs, the trail of writes."""
