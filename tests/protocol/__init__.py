"""The probe line protocol: codec, board, session, conversations."""
