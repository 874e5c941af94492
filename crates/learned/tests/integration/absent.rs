//! Without the feature: nothing is run, and it is said how to change that.

use learned::{ModelError, load};

#[test]
fn verif_without_a_runtime_the_error_says_how_to_build_one() {
    let bytes = include_bytes!("../data/call.onnx");
    let error = load(bytes).unwrap_err();
    assert!(matches!(error, ModelError::NotBuilt { .. }));
    assert!(
        error.to_string().starts_with(
            "this program was built without learned stages; build it with --features learned"
        ),
        "{error}"
    );
}
