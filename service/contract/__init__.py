"""What goes over the API: documents, refusals and the states of a job."""
