//! ONNX files run by a runtime written in Rust.
//!
//! Standard: Open Neural Network Exchange, operator sets 9 to 18 of the default domain (what the runtime is tested with). Of
//! the operators a closed set is taken: those that compute, and of those that lay out data the ones whose result is bounded by
//! what goes in. Control flow, sparse data, random numbers and operators that make large tensors of small ones are refused.

use std::collections::BTreeSet;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;

use detect::{Model, Network};
use tract_onnx::pb::ModelProto;
use tract_onnx::pb::tensor_shape_proto::dimension::Value as Dimension;
use tract_onnx::pb::type_proto::Value as TypeValue;
use tract_onnx::prelude::{
    DatumExt as _, DatumType, Framework as _, InferenceFact, InferenceModel,
    InferenceModelExt as _, IntoRunnable as _, RunnableModel, Tensor, TypedFact, TypedModel,
    TypedOp, tvec,
};
use tract_onnx::tract_core::ops::Cost;

use crate::error::ModelError;

/// Most operators of a model.
const MOST_OPERATORS: usize = 4096;
/// Most values of a result between operators: 64 MiB in single precision.
const MOST_VALUES: usize = 1 << 24;
/// Number of `float` among the element types of the standard.
const FLOAT: i32 = 1;

/// The operators that are run.
const OPERATORS: &[&str] = &[
    "Abs",
    "Add",
    "AveragePool",
    "BatchNormalization",
    "Cast",
    "Clip",
    "Concat",
    "Constant",
    "Conv",
    "Cos",
    "Div",
    "Dropout",
    "Elu",
    "Equal",
    "Erf",
    "Exp",
    "Flatten",
    "Floor",
    "GRU",
    "Gather",
    "Gemm",
    "GlobalAveragePool",
    "GlobalMaxPool",
    "Greater",
    "HardSigmoid",
    "HardSwish",
    "Identity",
    "InstanceNormalization",
    "LRN",
    "LSTM",
    "LayerNormalization",
    "LeakyRelu",
    "Less",
    "Log",
    "LogSoftmax",
    "MatMul",
    "Max",
    "MaxPool",
    "Mean",
    "Min",
    "Mul",
    "Neg",
    "PRelu",
    "Pad",
    "Pow",
    "RNN",
    "Reciprocal",
    "ReduceL1",
    "ReduceL2",
    "ReduceLogSum",
    "ReduceLogSumExp",
    "ReduceMax",
    "ReduceMean",
    "ReduceMin",
    "ReduceProd",
    "ReduceSum",
    "ReduceSumSquare",
    "Relu",
    "Reshape",
    "Selu",
    "Shape",
    "Sigmoid",
    "Sin",
    "Slice",
    "Softmax",
    "Softplus",
    "Softsign",
    "Split",
    "Sqrt",
    "Squeeze",
    "Sub",
    "Sum",
    "Tanh",
    "Transpose",
    "Unsqueeze",
    "Where",
];

/// A model as its file says, for windows of whatever length.
#[derive(Debug)]
pub(crate) struct OnnxModel {
    digest: String,
    graph: InferenceModel,
    /// Lengths along the axes of its input; `None` where the file leaves it open.
    axes: Vec<Option<usize>>,
}

impl OnnxModel {
    pub(crate) fn load(bytes: &[u8], digest: String) -> Result<Self, ModelError> {
        guarded(|| {
            let onnx = tract_onnx::onnx();
            let mut reader = bytes;
            let proto =
                onnx.proto_model_for_read(&mut reader)
                    .map_err(|why| ModelError::NotOnnx {
                        why: format!("{why:#}"),
                    })?;
            let axes = axes_of_input(&proto)?;
            let graph = onnx.model_for_proto_model(&proto).map_err(refused)?;
            Ok(Self {
                digest,
                graph,
                axes,
            })
        })
    }

    fn prepared(&self, samples: usize) -> Result<OnnxNetwork, ModelError> {
        let shape = shape_of(&self.axes, samples)?;
        let input = InferenceFact::from(f32::fact(&*shape));
        let typed = self
            .graph
            .clone()
            .with_input_fact(0, input)
            .and_then(|graph| graph.into_typed())
            .map_err(refused)?;
        let held = values_held(&typed)?;
        one_number(&typed)?;
        let typed = typed.into_decluttered().map_err(refused)?;
        let operations = operations(&typed)?;
        let network = typed
            .into_optimized()
            .and_then(|optimised| optimised.into_runnable())
            .map_err(refused)?;
        Ok(OnnxNetwork {
            network,
            shape,
            operations,
            state_bytes: held * size_of::<f32>(),
        })
    }
}

impl Model for OnnxModel {
    fn digest(&self) -> &str {
        &self.digest
    }

    fn ready(&self, samples: usize) -> Result<Arc<dyn Network>, String> {
        let network = guarded(|| self.prepared(samples)).map_err(|error| error.to_string())?;
        Ok(Arc::new(network))
    }
}

/// A model ready for windows of one length.
#[derive(Debug)]
struct OnnxNetwork {
    network: Arc<RunnableModel<TypedFact, Box<dyn TypedOp>>>,
    shape: Vec<usize>,
    operations: Option<f64>,
    state_bytes: usize,
}

impl Network for OnnxNetwork {
    fn value(&self, window: &[f32]) -> Result<f64, String> {
        let run = || {
            let samples = Tensor::from_shape(&self.shape, window).map_err(refused)?;
            let outputs = self.network.run(tvec!(samples.into())).map_err(refused)?;
            let number = outputs[0].cast_to::<f64>().map_err(refused)?;
            let numbers = number.try_as_plain_ram().map_err(refused)?;
            Ok(numbers.as_slice::<f64>().map_err(refused)?[0])
        };
        guarded(run).map_err(|error| error.to_string())
    }

    fn operations(&self) -> Option<f64> {
        self.operations
    }

    fn state_bytes(&self) -> usize {
        self.state_bytes
    }
}

/// Runs what calls the runtime: a panic there is an error here.
fn guarded<T>(run: impl FnOnce() -> Result<T, ModelError>) -> Result<T, ModelError> {
    catch_unwind(AssertUnwindSafe(run)).unwrap_or_else(|panic| {
        let text = panic
            .downcast_ref::<&str>()
            .map(|text| (*text).to_owned())
            .or_else(|| panic.downcast_ref::<String>().cloned());
        Err(ModelError::Broken {
            why: text.unwrap_or_else(|| "it gives no reason".to_owned()),
        })
    })
}

fn refused(why: tract_onnx::prelude::TractError) -> ModelError {
    ModelError::Refused {
        why: format!("{why:#}"),
    }
}

/// What the file says of its input, once it is one that can be run at all.
fn axes_of_input(proto: &ModelProto) -> Result<Vec<Option<usize>>, ModelError> {
    let graph = proto.graph.as_ref().ok_or_else(|| ModelError::NotOnnx {
        why: "it holds no graph".to_owned(),
    })?;
    if graph.node.len() > MOST_OPERATORS {
        return Err(ModelError::TooManyOperators {
            found: graph.node.len(),
            most: MOST_OPERATORS,
        });
    }
    for node in &graph.node {
        let own = node.domain.is_empty() || node.domain == "ai.onnx";
        if !own || !OPERATORS.contains(&node.op_type.as_str()) {
            let found = match own {
                true => node.op_type.clone(),
                false => format!("{} of {}", node.op_type, node.domain),
            };
            return Err(ModelError::Operator { found });
        }
    }
    let constants: BTreeSet<&str> = graph.initializer.iter().map(|t| &*t.name).collect();
    let inputs: Vec<_> = graph
        .input
        .iter()
        .filter(|input| !constants.contains(&*input.name))
        .collect();
    let [input] = inputs.as_slice() else {
        return Err(ModelError::Inputs {
            found: inputs.len(),
        });
    };
    let [output] = graph.output.as_slice() else {
        return Err(ModelError::Outputs {
            found: graph.output.len(),
        });
    };
    let made = graph.node.iter().flat_map(|node| &node.output);
    if !made.into_iter().any(|name| *name == output.name) {
        return Err(ModelError::Refused {
            why: format!("no operator makes its output {}", output.name),
        });
    }
    let unsaid = || ModelError::InputShape {
        found: "an input without a shape".to_owned(),
    };
    let kind = input.r#type.as_ref().and_then(|t| t.value.as_ref());
    let TypeValue::TensorType(tensor) = kind.ok_or_else(unsaid)?;
    let shape = tensor.shape.as_ref().ok_or_else(unsaid)?;
    if tensor.elem_type != FLOAT {
        return Err(ModelError::InputShape {
            found: format!("elements of type {} of the standard", tensor.elem_type),
        });
    }
    let axes = shape.dim.iter().map(|axis| match axis.value {
        Some(Dimension::DimValue(length)) => usize::try_from(length).ok(),
        _ => None,
    });
    Ok(axes.collect())
}

/// The input's shape for a window of so many samples: an axis that the file leaves open is 1, the last is the window.
fn shape_of(axes: &[Option<usize>], samples: usize) -> Result<Vec<usize>, ModelError> {
    let refused = || ModelError::InputShape {
        found: format!(
            "an input shaped [{}]",
            axes.iter()
                .map(|axis| axis.map_or("any".to_owned(), |length| length.to_string()))
                .collect::<Vec<_>>()
                .join(", ")
        ),
    };
    let (last, before) = axes.split_last().ok_or_else(refused)?;
    if before.len() > 2 || before.iter().flatten().any(|&length| length != 1) {
        return Err(refused());
    }
    if let Some(takes) = last.filter(|&takes| takes != samples) {
        return Err(ModelError::WindowLength { takes, samples });
    }
    let mut shape = vec![1; before.len()];
    shape.push(samples);
    Ok(shape)
}

/// Values of all results between operators, constants among them, if each may be held.
fn values_held(model: &TypedModel) -> Result<usize, ModelError> {
    let facts = model.nodes.iter().flat_map(|node| &node.outputs);
    facts
        .map(|outlet| values(&outlet.fact))
        .try_fold(0_usize, |sum, values| Ok(sum.saturating_add(values?)))
}

fn values(fact: &TypedFact) -> Result<usize, ModelError> {
    let shape = fact
        .shape
        .as_concrete()
        .ok_or_else(|| ModelError::Refused {
            why: format!(
                "a result inside it has the shape {:?}, which the window does not settle",
                fact.shape
            ),
        })?;
    let found = shape
        .iter()
        .fold(1_usize, |n, &axis| n.saturating_mul(axis));
    if found > MOST_VALUES {
        return Err(ModelError::TooLarge {
            found,
            most: MOST_VALUES,
        });
    }
    Ok(found)
}

fn one_number(model: &TypedModel) -> Result<(), ModelError> {
    let fact = model.output_fact(0).map_err(refused)?;
    let floating = [DatumType::F16, DatumType::F32, DatumType::F64].contains(&fact.datum_type);
    if floating && values(fact)? == 1 {
        return Ok(());
    }
    Err(ModelError::OutputShape {
        found: format!("{:?} shaped {:?}", fact.datum_type, fact.shape),
    })
}

/// Additions and multiplications for one window, as far as the runtime counts them: two for each multiply-add, one for each
/// division. Operators that it does not count (layout, and some functions of single values) are left out; where it counts
/// none, nothing is known.
fn operations(model: &TypedModel) -> Result<Option<f64>, ModelError> {
    let mut sum = 0.0;
    for node in &model.nodes {
        let inputs = model.node_input_facts(node.id).map_err(refused)?;
        for (cost, count) in node.op.cost(&inputs).map_err(refused)? {
            let count = count.to_i64().map_err(|why| refused(why.into()))? as f64;
            match cost {
                Cost::FMA(_) => sum += 2.0 * count,
                Cost::Div(_) => sum += count,
                _ => {}
            }
        }
    }
    Ok((sum > 0.0).then_some(sum))
}
