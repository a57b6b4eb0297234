//! The students' copy of a notebook. The teacher's copy is the notebook itself: one source, nothing to keep in step.

use super::document::Notebook;

/// The tag of a cell that is for the teacher only.
pub const TEACHER_TAG: &str = "teacher";

/// The copy to hand out: cells tagged [`TEACHER_TAG`] are left out, all else is kept as it is.
#[must_use]
pub fn student_copy(notebook: &Notebook) -> Notebook {
    let mut copy = notebook.clone();
    copy.retain(|cell| !cell.has_tag(TEACHER_TAG));
    copy
}

/// Whether a whole notebook is for the teacher only: its metadata say `"railrise": {"for": "teacher"}`.
#[must_use]
pub fn for_the_teacher(notebook: &Notebook) -> bool {
    notebook.metadata("railrise").is_some_and(|own| own["for"] == TEACHER_TAG)
}
