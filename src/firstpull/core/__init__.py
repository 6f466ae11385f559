"""Workshop knowledge: values in, values out. No files, network, clock or printing."""
