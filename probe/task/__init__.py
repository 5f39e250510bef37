"""What a task is: what it asks for (effects), what it is told (events), what should be lit, what is to be seen."""
