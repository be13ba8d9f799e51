"""How written English is read aloud: `read` in reading.py is the one way in."""
