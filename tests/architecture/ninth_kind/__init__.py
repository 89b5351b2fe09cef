"""A kind of run that the site does not have, and a script that uses it as people would."""
