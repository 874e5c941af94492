import struct, sys
import NAME

def told(value):
    if value is None:
        return "none"
    if isinstance(value, bool):
        return str(int(value))
    if isinstance(value, float):
        return struct.pack(">d", value).hex()
    return str(value).replace(" ", "_")

for line in sys.stdin:
    _, message, received = line.split()
    message = b"" if message == "-" else bytes.fromhex(message)
    try:
        record = NAME.decode(messageRECEIVED)
    except ValueError as error:
        print(str(error).split(":")[0])
    else:
        print(" ".join(told(value) for value in record.values()))
