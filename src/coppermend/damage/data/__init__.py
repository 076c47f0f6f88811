"""The corrosion model, as ONNX; ``tools/train_corrosion.py`` makes it."""
