def _number(name, code, least, step, last, no_data):
    if code == no_data:
        return None
    if code > last:
        raise ValueError(f"code: {name} holds {code}, beyond {last}")
    return least + code * step
