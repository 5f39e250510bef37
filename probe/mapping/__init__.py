"""Steps of a survey: setting up a chain and walking it, as pure state machines."""
