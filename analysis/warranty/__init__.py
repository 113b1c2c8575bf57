"""The warranty record: terms of the papers, the heat that the loop stood, what was kept."""
