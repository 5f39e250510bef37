"""Tests of the sheet for the cabinet and its picture."""
