"""How the speech model is made: data, network, export. Not part of the product; needs PyTorch."""
