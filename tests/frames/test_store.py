"""Where frames are written, nothing leads out of the folder that was named."""

import pytest

from choreo.errors import ChoreoError
from choreo.frames.store import prepare_folder


def test_a_link_out_of_the_folder_is_refused_and_one_inside_is_not(tmp_path):
    folder = tmp_path / "out"
    (folder / "here").mkdir(parents=True)
    (folder / "inside").symlink_to(folder / "here")
    prepare_folder(folder, ["inside/a.png"])
    (folder / "frames").symlink_to(tmp_path)
    with pytest.raises(ChoreoError) as caught:
        prepare_folder(folder, ["frames/a.png"])
    (finding,) = caught.value.findings
    assert (caught.value.exit_code, finding.code) == (2, "output-refused")
    assert finding.file.endswith("frames")
