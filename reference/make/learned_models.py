"""Small ONNX models and what they make of windows of samples; and files that are no such model.

The models are random, not trained: they hold arithmetic, not a detector. `call.onnx` is a convolution, a rectifier, the mean over
time, an affine map and the logistic function; `open.onnx` is the same without the logistic function and with an open length. Their
answers are computed by onnxruntime 1.32.0 and, independently, in double precision by numpy 2.4.6 from the definition of each
operator (ONNX operator schemas Conv, Relu, GlobalAveragePool, Gemm, Sigmoid); both must agree to 1e-5. onnx 1.23.2 writes the files.
Writes crates/learned/tests/data/*.onnx and reference/learned/onnxruntime-windows.json. Running it again gives the same bytes.

    python3 reference/make/learned_models.py
"""

import hashlib
import json
import pathlib

import numpy as np
import onnx
import onnxruntime
from onnx import TensorProto, helper, numpy_helper

HERE = pathlib.Path(__file__)
ROOT = HERE.parent.parent.parent
MODELS = ROOT / "crates" / "learned" / "tests" / "data"
OUT = ROOT / "reference" / "learned" / "onnxruntime-windows.json"
SAMPLES, CHANNELS, TAPS, STRIDE = 500, 6, 31, 4

rng = np.random.Generator(np.random.PCG64(20261126))
KERNEL = (rng.standard_normal((CHANNELS, 1, TAPS)) / np.sqrt(TAPS)).astype(np.float32)
OFFSET = (0.1 * rng.standard_normal(CHANNELS)).astype(np.float32)
WEIGHT = (2.0 * rng.standard_normal((1, CHANNELS))).astype(np.float32)
BIAS = np.array([-0.4], np.float32)


def constants():
    return [
        numpy_helper.from_array(KERNEL, "kernel"),
        numpy_helper.from_array(OFFSET, "offset"),
        numpy_helper.from_array(WEIGHT, "weight"),
        numpy_helper.from_array(BIAS, "bias"),
    ]


def layers(last):
    return [
        helper.make_node("Conv", ["samples", "kernel", "offset"], ["filtered"], strides=[STRIDE], pads=[15, 15]),
        helper.make_node("Relu", ["filtered"], ["rectified"]),
        helper.make_node("GlobalAveragePool", ["rectified"], ["averaged"]),
        helper.make_node("Flatten", ["averaged"], ["flat"], axis=1),
        helper.make_node("Gemm", ["flat", "weight", "bias"], [last], transB=1),
    ]


def value(name, shape, kind=TensorProto.FLOAT):
    return helper.make_tensor_value_info(name, kind, shape)


def write(name, nodes, inputs, outputs, initializers=(), check=True):
    graph = helper.make_graph(nodes, name, inputs, outputs, list(initializers))
    model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", 17)], ir_version=8, producer_name="learned_models.py")
    if check:
        onnx.checker.check_model(model)
    data = model.SerializeToString(deterministic=True)
    (MODELS / f"{name}.onnx").write_bytes(data)
    return data


def by_numpy(window):
    """The same in double precision, from the definitions."""
    x = np.concatenate([np.zeros(15), window.astype(float), np.zeros(15)])
    starts = range(0, len(x) - TAPS + 1, STRIDE)
    rows = np.stack([x[s : s + TAPS] for s in starts])
    filtered = rows @ KERNEL[:, 0, :].astype(float).T + OFFSET.astype(float)
    averaged = np.maximum(filtered, 0.0).mean(axis=0)
    return float(WEIGHT[0].astype(float) @ averaged + float(BIAS[0]))


MODELS.mkdir(parents=True, exist_ok=True)
OUT.parent.mkdir(parents=True, exist_ok=True)
call = write(
    "call",
    [*layers("log_odds"), helper.make_node("Sigmoid", ["log_odds"], ["probability"])],
    [value("samples", [1, 1, SAMPLES])],
    [value("probability", [1, 1])],
    constants(),
)
opened = write(
    "open", layers("log_odds"), [value("samples", ["n", 1, "length"])], [value("log_odds", ["n", 1])], constants()
)

# What no detector can run.
one = [value("samples", [1, 1, SAMPLES])]
number = [value("out", [1, 1])]
mean = helper.make_node("GlobalAveragePool", ["samples"], ["averaged"])
flat = helper.make_node("Flatten", ["averaged"], ["out"], axis=1)
write("several-outputs", [mean, flat, helper.make_node("Relu", ["out"], ["more"])], one, [*number, value("more", [1, 1])])
write(
    "several-inputs",
    [helper.make_node("Add", ["samples", "others"], ["sum"]), helper.make_node("GlobalAveragePool", ["sum"], ["averaged"]), flat],
    [*one, value("others", [1, 1, SAMPLES])],
    number,
)
write("vector", [helper.make_node("Relu", ["samples"], ["out"])], one, [value("out", [1, 1, SAMPLES])])
write("two-channels", [mean, helper.make_node("ReduceMean", ["averaged"], ["out"])], [value("samples", [1, 2, SAMPLES])], [value("out", [1, 1, 1])])
write("whole-numbers", [helper.make_node("ReduceMax", ["samples"], ["out"])], [value("samples", [1, SAMPLES], TensorProto.INT64)], [value("out", [1, 1], TensorProto.INT64)])
write("operator", [mean, flat, helper.make_node("RandomNormalLike", ["averaged"], ["noise"])], one, number)
write(
    "expanded",
    [
        helper.make_node("Constant", [], ["shape"], value=numpy_helper.from_array(np.array([1 << 40], np.int64), "shape")),
        helper.make_node("ConstantOfShape", ["shape"], ["huge"]),
        helper.make_node("ReduceMean", ["huge"], ["out"]),
    ],
    one,
    [value("out", [1])],
)
write(
    "padded",
    [
        helper.make_node("Conv", ["samples", "kernel", "offset"], ["filtered"], pads=[1 << 40, 15]),
        helper.make_node("ReduceMean", ["filtered"], ["out"]),
    ],
    one,
    [value("out", [1, 1, 1])],
    constants()[:2],
)
write("not-a-number", [mean, helper.make_node("Log", ["averaged"], ["log"]), helper.make_node("Flatten", ["log"], ["out"], axis=1)], one, number)
write("no-such-output", [mean], one, number, check=False)
write("no-such-input", [helper.make_node("Relu", ["nothing"], ["out"])], one, number, check=False)
write("circle", [helper.make_node("Add", ["samples", "out"], ["a"]), helper.make_node("Relu", ["a"], ["out"])], one, number, check=False)
write("shapes-that-differ", [helper.make_node("MatMul", ["samples", "kernel"], ["out"])], one, number, constants()[:1], check=False)
(MODELS / "cut-off.onnx").write_bytes(call[: len(call) // 2])
(MODELS / "text.onnx").write_bytes(b"This is a text, not a model.\n")

options = onnxruntime.SessionOptions()
options.intra_op_num_threads = 1
of_call = onnxruntime.InferenceSession(call, options, providers=["CPUExecutionProvider"])
of_open = onnxruntime.InferenceSession(opened, options, providers=["CPUExecutionProvider"])
rows = []
for row in range(12):
    window = (rng.standard_normal(SAMPLES) * 10.0 ** (0.25 * (row - 6))).astype(np.float32)
    if row % 3 == 0:
        window += np.float32(2.0) * np.sin(2.0 * np.pi * 0.01 * (row + 1) * np.arange(SAMPLES)).astype(np.float32)
    if row == 11:
        window[:] = 0.0
    given = window.reshape(1, 1, -1)
    p = float(of_call.run(None, {"samples": given})[0][0, 0])
    z = float(of_open.run(None, {"samples": given})[0][0, 0])
    exact = by_numpy(window)
    assert abs(z - exact) <= 1e-5 * max(1.0, abs(exact)), (row, z, exact)
    assert abs(p - 1.0 / (1.0 + np.exp(-exact))) <= 1e-5, (row, p, exact)
    rows.append({"samples": [float(f"{v:.9g}") for v in window], "probability": float(f"{p:.6f}"), "log_odds": float(f"{exact:.9g}")})

OUT.write_text(
    json.dumps(
        {
            "provenance": {
                "what": "what two small models make of windows of 500 samples: probability of call.onnx by onnxruntime, log-odds of open.onnx in double precision",
                "source": "onnxruntime 1.32.0 and numpy 2.4.6, which agree to 1e-5; files written by onnx 1.23.2, operator set 17; the models are random, not trained",
                "script": "reference/make/learned_models.py",
                "script-sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
                "call-sha256": hashlib.sha256(call).hexdigest(),
                "open-sha256": hashlib.sha256(opened).hexdigest(),
                "tolerance": "1e-5: single precision sums in another order; probabilities are printed to 1e-6",
            },
            "windows": rows,
        },
        indent=None,
        separators=(",", ":"),
    )
    + "\n"
)
print("largest difference checked; wrote", len(rows), "windows")
