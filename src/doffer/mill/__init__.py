"""The records of the mill: commands write them, queries read them, nobody else opens the models."""
