"""The dialect `status-query`: words, sender, session."""
