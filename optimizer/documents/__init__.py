"""What is typed and what is given back: mill, price book and plan, as models."""
