"""The probe line protocol: specification, codec, host session, board half and simulated board."""
