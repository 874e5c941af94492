def _choice(name, code, values):
    if code >= len(values):
        raise ValueError(f"code: {name} holds {code}, beyond {len(values) - 1}")
    return values[code]
