"""Runs effects on link and storage, and turns their events into inputs."""
