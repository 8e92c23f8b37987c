"""What stands in a message: the models, their schemas, the AsyncAPI document."""
