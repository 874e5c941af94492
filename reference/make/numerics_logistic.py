"""Logistic models with a ridge -> reference/numerics/sklearn-logistic.json

Python 3.11 or later; scikit-learn 1.9.1, numpy 2.4.6. The rows are drawn here and rounded; the fits are scikit-learn's
LogisticRegression (solver newton-cholesky, C = 1 / ridge, columns scaled by StandardScaler), turned back to the units of the rows.
"""
import hashlib
import json
import pathlib

import numpy as np
import sklearn
from sklearn.linear_model import LogisticRegression
from sklearn.preprocessing import StandardScaler

HERE = pathlib.Path(__file__)


def drawn(seed, n, columns, weights, scale):
    generator = np.random.default_rng(seed)
    x = generator.normal(size=(n, columns)) * scale
    p = 1 / (1 + np.exp(-(x / scale) @ np.array(weights)))
    return np.round(x, 4), generator.random(n) < p


def cases():
    x, y = drawn(1, 80, 3, [1.5, -0.7, 0.0], [6.0, 0.4, 1.0])
    yield "three columns, overlapping", x + [9.0, 1.0, 0.0], y
    x, y = drawn(2, 300, 1, [2.0], [3.0])
    yield "one column", x, y
    x = np.round(np.concatenate([np.linspace(1, 4, 12), np.linspace(6, 9, 7)])[:, None], 4)
    yield "parted by a line", x, x[:, 0] > 5
    x, y = drawn(3, 60, 2, [1.0, 0.3], [2.0, 100.0])
    yield "two columns nearly the same", np.round(np.hstack([x, x[:, :1] * 1.001 + 0.01 * x[:, 1:] / 100]), 4), y
    x, y = drawn(4, 200, 4, [0.5, 0.5, 0.5, 0.5], [1.0, 10.0, 100.0, 1000.0])
    yield "rare outcome", x, y & (np.arange(200) % 9 == 0)


sets = []
for name, x, y in cases():
    fits = []
    for ridge in (0.01, 1.0, 30.0):
        scaler = StandardScaler().fit(x)
        model = LogisticRegression(C=1 / ridge, solver="newton-cholesky", tol=1e-13, max_iter=500)
        model.fit(scaler.transform(x), y)
        weights = model.coef_[0] / scaler.scale_
        constant = model.intercept_[0] - float(weights @ scaler.mean_)
        fits.append({
            "ridge": ridge,
            "constant": float(f"{constant:.10g}"),
            "weights": [float(f"{w:.10g}") for w in weights],
        })
    sets.append({"name": name, "rows": x.tolist(), "outcomes": [bool(v) for v in y], "fits": fits})
text = json.dumps({
    "provenance": {
        "what": "constant and weights of logistic models with a ridge on weights per standard deviation, the constant free",
        "source": f"scikit-learn {sklearn.__version__}, sklearn.linear_model.LogisticRegression, numpy {np.__version__}",
        "script": "reference/make/numerics_logistic.py",
        "script_sha256": hashlib.sha256(HERE.read_bytes()).hexdigest(),
        "tolerance": "1e-6 of the largest of the weights per standard deviation, to which scikit-learn's own stopping rule reaches",
    },
    "sets": sets,
})
(HERE.parents[1] / "numerics" / "sklearn-logistic.json").write_text(text + "\n")
