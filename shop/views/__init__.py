"""The shop's own pages: who may enter, people, customers, the profile, and what is said when something fails."""
