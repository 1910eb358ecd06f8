"""Planning: from loaded layers to a ranked plan."""
