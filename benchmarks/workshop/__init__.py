"""Invented workshops, richer than the model: does a first run hold, and does waiting shrink to what is needed?"""
