"""Trained weights → the ONNX file that the product ships, in half precision on disk.

    python -m training.export --weights reader.pt [--out extract/stamps/models/reader.onnx]

Batch and width stay free. Weights are stored as 16-bit floats and cast back where the model runs.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

import numpy as np
import onnx
import torch
from onnx import TensorProto, helper, numpy_helper

from .nets import SignNet
from .product import ALPHABET


def halved(model: onnx.ModelProto) -> onnx.ModelProto:
    """The same model with its larger constants as 16-bit floats and a cast behind each."""
    graph = model.graph
    casts = []
    for tensor in list(graph.initializer):
        if tensor.data_type != TensorProto.FLOAT or np.prod(tensor.dims) < 64:
            continue
        values = numpy_helper.to_array(tensor).astype(np.float16)
        name = tensor.name
        graph.initializer.remove(tensor)
        graph.initializer.append(numpy_helper.from_array(values, f"{name}_half"))
        casts.append(helper.make_node("Cast", [f"{name}_half"], [name], to=TensorProto.FLOAT))
    for cast in reversed(casts):
        graph.node.insert(0, cast)
    return model


def export(net: torch.nn.Module, sample: torch.Tensor, names: tuple[str, str], free: dict[int, str], out: Path) -> None:
    """Write one network; ``free`` names the input's axes that may have any size."""
    net.eval()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "net.onnx"
        torch.onnx.export(
            net, (sample,), str(path), input_names=[names[0]], output_names=[names[1]],
            dynamic_axes={names[0]: free, names[1]: {0: "batch"}}, opset_version=17, dynamo=False,
        )  # fmt: skip
        model = halved(onnx.load(str(path)))
    entry = model.metadata_props.add()
    entry.key, entry.value = "signs", ALPHABET
    onnx.checker.check_model(model)
    onnx.save(model, str(out))
    print(f"{out.name}: {out.stat().st_size / 1e6:.1f} MB")


def main() -> None:
    """Read the weights, write the file."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--weights", type=Path, required=True, help="reader.pt")
    parser.add_argument("--out", type=Path, default=Path("extract/stamps/models/reader.onnx"))
    args = parser.parse_args()
    reader = SignNet()
    reader.load_state_dict(torch.load(args.weights, map_location="cpu"))
    export(reader, torch.zeros(2, 3, 40, 200), ("cuts", "shares"), {0: "batch", 3: "width"}, args.out)


if __name__ == "__main__":
    main()
