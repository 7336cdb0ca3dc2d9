"""Drawing of synthetic photos of stamped parts, and the training of the models that read them."""
