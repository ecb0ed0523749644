"""The dialect `status-query`: words, sender, controller."""
