"""Binary little-endian PLY, read by its own header; for the scripts of this folder's parent. Needs NumPy only."""
import pathlib

import numpy as np

TYPES = {"char": "i1", "int8": "i1", "uchar": "u1", "uint8": "u1", "short": "i2", "int16": "i2", "ushort": "u2",
         "uint16": "u2", "int": "i4", "int32": "i4", "uint": "u4", "uint32": "u4", "float": "f4", "float32": "f4",
         "double": "f8", "float64": "f8"}


def read_ply(path):
    """Vertex properties by name, and the triangles (n, 3)."""
    data = pathlib.Path(path).read_bytes()
    end = data.index(b"end_header\n") + len(b"end_header\n")
    counts, vertex, face, element = {}, [], [], None
    for line in data[:end].decode("ascii").splitlines():
        words = line.split()
        if words[0] == "format" and words[1] != "binary_little_endian":
            raise SystemExit(f"{path}: not binary little-endian")
        if words[0] == "element":
            element = words[1]
            counts[element] = int(words[2])
        if words[0] == "property" and element == "vertex":
            vertex.append((words[2], "<" + TYPES[words[1]]))
        if words[0] == "property" and element == "face":
            face = [("n", "<" + TYPES[words[2]]), ("v", "<" + TYPES[words[3]], 3)]
    table = np.frombuffer(data, dtype=np.dtype(vertex), count=counts["vertex"], offset=end)
    rows = np.frombuffer(data, dtype=np.dtype(face), count=counts.get("face", 0) if face else 0, offset=end + table.nbytes)
    return table, rows["v"].astype(np.int64) if face else np.zeros((0, 3), dtype=np.int64)
