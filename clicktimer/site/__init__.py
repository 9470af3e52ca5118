"""The site file: what is known of one house's tank, switch, pump, well and people, in a text file that one can edit."""
