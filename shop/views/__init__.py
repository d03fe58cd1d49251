"""The shop's own pages: the door, people, customers, the profile, and what is said when something fails."""
